/** Where on the page one is, as the end of its address: `#/NightFerry/song`. */

export const VIEWS = [
  { view: "song", title: "Song", stages: ["map"] },
  { view: "write", title: "Line", stages: ["line", "check", "mockup"] },
  { view: "client", title: "Client", stages: ["review", "reply"] },
  { view: "page", title: "Page", stages: ["part", "click"] },
  { view: "record", title: "Record", stages: ["takes"] },
  { view: "choose", title: "Takes", stages: ["takes", "choose"] },
  { view: "delivery", title: "Delivery", stages: ["deliver"] },
  { view: "account", title: "Account", stages: ["account"] },
];

/** How a view lies on the page: beside the chart, above it, or without it. */
export const LAYOUTS = {
  jobs: "alone", song: "margin", write: "wide", client: "margin", page: "margin", stand: "alone", record: "margin", take: "alone", choose: "wide", delivery: "margin", account: "margin",
};

/** @returns {{name: string | null, view: string}} */
export function placeOf(hash) {
  const [, name, view] = /^#\/([^/]+)(?:\/(\w+))?$/.exec(hash) ?? [];
  if (!name) return { name: null, view: "jobs" };
  return { name: decodeURIComponent(name), view: view in LAYOUTS && view !== "jobs" ? view : "song" };
}

/** @returns {string} the end of the address */
export function toPlace(name, view) {
  return name ? `#/${encodeURIComponent(name)}/${view}` : "#/";
}

/** The view in which a stage's work is done. */
export function viewOfStage(stage) {
  return VIEWS.find(({ stages }) => stages.includes(stage))?.view ?? "song";
}

/** The state of a view's stages in one word: what is stale first, then waiting, open, done. */
export function stateOfView(view, stages) {
  const own = VIEWS.find((one) => one.view === view)?.stages ?? [];
  const states = stages.filter(({ stage }) => own.includes(stage)).map(({ state }) => state);
  if (states.includes("stale")) return "to redo";
  if (states.includes("waiting")) return "waiting";
  if (states.length && states.every((state) => state === "done")) return "done";
  return states.includes("done") ? "begun" : "";
}
