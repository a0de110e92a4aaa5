/** A delivered pack as a checklist: each file with what was proved of it, then what was proved of the whole. */

const OF_A_FILE = /^File (\d\d)\b[, ]*/;

/**
 * @param {{files: {name: string}[], checks: {ok: boolean, sentence: string}[]}} pack
 * @returns {{files: {file: object, checks: object[]}[], whole: {ok: boolean, sentence: string}[]}}
 */
export function checklist(pack) {
  const numberOf = (name) => /^\d\d/.exec(name)?.[0];
  const about = (check) => OF_A_FILE.exec(check.sentence)?.[1];
  const numbers = new Set(pack.files.map((file) => numberOf(file.name)));
  return {
    files: pack.files.map((file) => ({
      file,
      checks: pack.checks.filter((check) => about(check) && about(check) === numberOf(file.name))
        .map(({ ok, sentence }) => ({ ok, sentence: capital(sentence.replace(OF_A_FILE, "")) })),
    })),
    whole: pack.checks.filter((check) => !about(check) || !numbers.has(about(check))),
  };
}

/** `3 files, 14 things proved`. */
export function inShort(pack) {
  const proved = pack.checks.filter((check) => check.ok).length;
  const files = pack.files.length;
  return `${files} ${files === 1 ? "file" : "files"}, ${proved} ${proved === 1 ? "thing" : "things"} proved`;
}

/** With a capital at the start. */
export function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}
