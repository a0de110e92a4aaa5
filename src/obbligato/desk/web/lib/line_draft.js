/**
 * Drafts kept by the browser, each under the job, the version it was begun from and the tab it is written in, so that
 * no tab ever writes over another's. A draft is there again after a reload, and after the desk was started anew.
 * @typedef {{key: string, job: string, version: number, tab: string, at: number, notes: object[]}} Draft
 */

const PREFIX = "obbligato-draft";

const keyOf = (job, version, tab) => [PREFIX, encodeURIComponent(job), version, tab].join("/");

/** @param {Storage} storage @returns {boolean} whether the browser kept it */
export function saveDraft(storage, { job, version, tab, notes, at }) {
  try {
    storage.setItem(keyOf(job, version, tab), JSON.stringify({ at, notes }));
    return true;
  } catch {
    return false;
  }
}

/** All drafts of a job, newest first; what cannot be read is passed over. @param {Storage} storage @returns {Draft[]} */
export function draftsOf(storage, job) {
  const found = [];
  for (let i = 0; i < storage.length; i += 1) {
    const key = storage.key(i);
    const [prefix, name, version, tab] = key.split("/");
    if (prefix !== PREFIX || name !== encodeURIComponent(job)) continue;
    try {
      const { at, notes } = JSON.parse(storage.getItem(key));
      if (Array.isArray(notes)) found.push({ key, job, version: Number(version), tab, at, notes });
    } catch {
      continue;
    }
  }
  return found.sort((a, b) => b.at - a.at);
}

/** @param {Storage} storage */
export function dropDraft(storage, job, version, tab) {
  storage.removeItem(keyOf(job, version, tab));
}

/**
 * This tab's own name, the same after a reload. A tab that was doubled has its name doubled too: the one that finds
 * the name in use takes a new one.
 * @param {Storage} session @param {LockManager | undefined} locks
 */
export async function tabName(session, locks, fresh = () => Math.random().toString(36).slice(2, 10)) {
  const name = session.getItem(PREFIX) ?? fresh();
  const free = !locks || (await hold(locks, `${PREFIX}/${name}`));
  const mine = free ? name : fresh();
  if (!free) await hold(locks, `${PREFIX}/${mine}`);
  session.setItem(PREFIX, mine);
  return mine;
}

/** Hold a lock for as long as the tab is open; false when another tab holds it. */
function hold(locks, name) {
  return new Promise((resolve) => {
    locks.request(name, { ifAvailable: true }, (lock) => {
      resolve(lock !== null);
      return lock && new Promise(() => {});
    });
  });
}
