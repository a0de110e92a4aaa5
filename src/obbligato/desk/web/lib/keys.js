/** Every key the page knows, in one list: what is pressed is looked up here, and the key card is printed from it. */

const NAMES = { " ": "Space", ArrowLeft: "Left", ArrowRight: "Right", ArrowUp: "Up", ArrowDown: "Down", Escape: "Esc" };

/** A pressed key as the list writes it: `Space`, `Shift+Left`, `Ctrl+Z`, `?`, `t`. */
export function keyName(event) {
  const name = NAMES[event.key] ?? event.key;
  const shown = name.length === 1 ? name.toLowerCase() : name;
  const shift = event.shiftKey && (name.length > 1 || /[a-z]/i.test(name)) ? "Shift+" : "";
  return `${event.ctrlKey || event.metaKey ? "Ctrl+" : ""}${event.altKey ? "Alt+" : ""}${shift}${shown}`;
}

/** Whether the keys belong to what has the focus: a field, or a widget that says it uses them itself. */
export function typing(target) {
  if (!target?.closest) return false;
  return Boolean(target.closest("input:not([type=checkbox]):not([type=radio]):not([type=range]), textarea, select, [contenteditable=true]"));
}

/** @returns the registry: `add(scope, entries)`, `list()`, `press(event)` */
export function createKeys() {
  const scopes = [];
  return {
    /**
     * @param {string} scope heading on the key card
     * @param {{keys: string, does: string, run: (event: KeyboardEvent) => void}[]} entries several keys for one entry: `"Left / PageUp"`
     * @returns {() => void} removes them
     */
    add(scope, entries) {
      const added = { scope, entries };
      scopes.push(added);
      return () => scopes.splice(scopes.indexOf(added), 1);
    },
    list: () => scopes.map(({ scope, entries }) => ({ scope, entries })),
    press(event) {
      if (event.defaultPrevented || typing(event.target) || event.isComposing) return false;
      const name = keyName(event);
      if (event.target?.closest?.("dialog") && name !== "?") return false;
      const onButton = event.target?.closest?.("button, a, summary, input, [role=button]");
      if (onButton && (name === "Space" || name === "Enter")) return false;
      if (event.target?.type === "range" && /^(Shift\+)?(Left|Right|Up|Down|Home|End|PageUp|PageDown)$/.test(name)) return false;
      for (const { entries } of [...scopes].reverse()) {
        const entry = entries.find(({ keys, run }) => run && keys.split(" / ").some((key) => key.toLowerCase() === name.toLowerCase()));
        if (entry) {
          event.preventDefault();
          entry.run(event);
          return true;
        }
      }
      return false;
    },
  };
}
