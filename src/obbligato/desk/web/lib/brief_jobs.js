/** The list of jobs: in which order they stand, and when each is due in words. */

const WAITS = "Waiting for the client";
const NEEDS = "On your desk";
const DONE = "Delivered";
const TROUBLE = "Cannot be read";

/** Under which heading a job stands. */
function headingOf(job) {
  if (job.trouble) return TROUBLE;
  if (job.next?.stage === "account") return DONE;
  return job.next?.state === "waiting" ? WAITS : NEEDS;
}

/** Jobs with a date first, the nearest on top; then those without, the newest on top. */
function byNeed(a, b) {
  const days = (job) => job.due?.days_left ?? Infinity;
  if (days(a) !== days(b)) return days(a) - days(b);
  return (b.created_at ?? "").localeCompare(a.created_at ?? "");
}

/**
 * The list of jobs under its headings; a heading without jobs is left out.
 * @returns {{heading: string, jobs: object[]}[]}
 */
export function grouped(jobs) {
  return [NEEDS, WAITS, DONE, TROUBLE]
    .map((heading) => ({ heading, jobs: jobs.filter((job) => headingOf(job) === heading).sort(byNeed) }))
    .filter((group) => group.jobs.length);
}

/**
 * When a job is due: the day as it is written, and how long that is from now.
 * @returns {{day: string, words: string, tone: "" | "care" | "bad"}}
 */
export function dueWords(job, locale) {
  if (!job.due) return { day: job.deadline ? `by ${job.deadline}` : "no date", words: "", tone: "" };
  const day = new Date(`${job.due.day}T12:00:00`).toLocaleDateString(locale, { weekday: "short", day: "numeric", month: "short" });
  if (headingOf(job) === DONE) return { day, words: "", tone: "" };
  const tone = job.due.is_over ? "bad" : job.due.days_left <= 2 ? "care" : "";
  return { day, words: job.due.words, tone };
}

const STAGES = {
  new: "the brief", map: "the song", line: "the line", check: "checking the line", mockup: "the mock-up", review: "the client's page", reply: "the client's answer",
  part: "the part", click: "the click", takes: "recording", choose: "choosing", deliver: "the delivery", account: "the account",
};

/** A stage as a player calls it. */
export function stageWords(stage) {
  return STAGES[stage] ?? stage;
}

/** The stages time can be entered for. */
export function stageChoices() {
  return Object.entries(STAGES).filter(([stage]) => stage !== "account");
}

/** Minutes in words: `1 h 20 min`, `45 min`, `under 1 min`. */
export function hours(minutes) {
  const whole = Math.round(Math.abs(minutes));
  if (whole === 0) return minutes === 0 ? "0 min" : "under 1 min";
  const sign = minutes < 0 ? "−" : "";
  const [h, m] = [Math.floor(whole / 60), whole % 60];
  return sign + [h ? `${h} h` : "", m ? `${m} min` : ""].filter(Boolean).join(" ");
}

/** A sum of money as the reader writes it; a currency that no table knows is put behind as it is. */
export function money(amount, currency, locale) {
  try {
    return new Intl.NumberFormat(locale, { style: "currency", currency: currency.trim().toUpperCase() }).format(amount);
  } catch {
    return `${new Intl.NumberFormat(locale, { minimumFractionDigits: 2, maximumFractionDigits: 2 }).format(amount)} ${currency}`.trim();
  }
}
