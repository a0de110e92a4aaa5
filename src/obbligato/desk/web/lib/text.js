/** Words and numbers as a player reads them. */

/** Flats, sharps and minus as signs: `Bbm7/Eb` -> `B♭m7/E♭`, `F#` -> `F♯`, `-12 dBFS` -> `−12 dBFS`. */
export function signs(text) {
  return text.replace(/\b([A-G])(bb|b|##|#)/g, (_, letter, sign) => letter + sign.replaceAll("b", "♭").replaceAll("#", "♯"))
    .replace(/([mj\d(,])([b#])(\d)/g, (_, before, sign, degree) => before + (sign === "b" ? "♭" : "♯") + degree)
    .replace(/(^|[\s(])-(?=\d)/g, "$1−");
}

/** Seconds as a clock: 67.5 -> `1:07.5`. */
export function clock(seconds, digits = 1) {
  const step = 10 ** digits;
  const whole = Math.round(Math.abs(seconds) * step) / step;
  const minutes = Math.floor(whole / 60);
  const rest = (whole - 60 * minutes).toFixed(digits).padStart(digits ? digits + 3 : 2, "0");
  return `${seconds < 0 && whole > 0 ? "−" : ""}${minutes}:${rest}`;
}

/** A size of a file in words. */
export function bytes(count) {
  if (count < 1000) return `${count} bytes`;
  if (count < 999_500) return `${Math.round(count / 1000)} kB`;
  return `${(count / 1e6).toFixed(1)} MB`;
}

/** `1 bar`, `3 bars`. */
export function counted(number, word) {
  return `${number} ${word}${number === 1 ? "" : "s"}`;
}

/** A moment as a day and hour in the reader's own way of writing. */
export function moment(iso) {
  return new Date(iso).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
}
