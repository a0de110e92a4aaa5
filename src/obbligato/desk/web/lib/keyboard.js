/**
 * The computer's keys as two rows of a keyboard, by where they lie and not by what is printed on them
 * (KeyboardEvent.code, UI Events KeyboardEvent code Values, W3C), so that any country's layout plays alike.
 */

const LOWER = [
  "KeyZ", "KeyS", "KeyX", "KeyD", "KeyC", "KeyV", "KeyG", "KeyB", "KeyH", "KeyN", "KeyJ", "KeyM",
  "Comma", "KeyL", "Period", "Semicolon", "Slash",
];
const UPPER = [
  "KeyQ", "Digit2", "KeyW", "Digit3", "KeyE", "KeyR", "Digit5", "KeyT", "Digit6", "KeyY", "Digit7", "KeyU",
  "KeyI", "Digit9", "KeyO", "Digit0", "KeyP",
];
const SEMITONES = new Map([
  ...LOWER.map((code, semitone) => [code, semitone]),
  ...UPPER.map((code, semitone) => [code, semitone + 12]),
]);

/** The lowest key of the lower row: a C, in MIDI pitch. */
export const LOWEST_C = 48;

/**
 * @param {string} code KeyboardEvent.code
 * @param {number} octave octaves above (or below) `LOWEST_C`
 * @returns {number | null} MIDI pitch; null for a key that plays nothing
 */
export function pitchOfKey(code, octave = 0) {
  const semitone = SEMITONES.get(code);
  if (semitone === undefined) return null;
  const pitch = LOWEST_C + 12 * octave + semitone;
  return pitch >= 0 && pitch <= 127 ? pitch : null;
}
