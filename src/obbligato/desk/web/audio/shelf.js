/** The sounds of the open job on their way to the audio thread: what changed is fetched anew, the rest stays. */

/** Takes that stay loaded; one of a long song is some 40 MB. */
const MOST_TAKES = 6;
const ALWAYS = ["guide", "click"];

/** Fetches, decodes and hands over; asks the server to render what is not there yet. */
export class Shelf {
  /**
   * @param {{api: object, engine: import("./engine.js").Engine, changed: (patch: object) => void}} parts `changed` is told
   *   what the page shows of it
   */
  constructor({ api, engine, changed }) {
    this.api = api;
    this.engine = engine;
    this.changed = changed;
    this.job = null;
    this.third = null;
    this.duration_s = 0;
    this._empty();
  }

  _empty() {
    this.offered = new Map();
    this.loaded = new Map();
    this.coming = new Map();
  }

  /** Names of the sounds loaded. */
  get names() {
    return [...this.loaded.keys()];
  }

  /** See what the job offers now, and load what is new of guide, click and the third sound. */
  async load(job, stamp) {
    if (job !== this.job) this._leave(job);
    if (stamp === this.stamp) return;
    this.stamp = stamp;
    try {
      const list = await this.api.get(`/jobs/${encodeURIComponent(job)}/sounds`);
      if (this.job === job && this.stamp === stamp) await this._take(list);
    } catch (error) {
      if (this.job !== job) return;
      this.stamp = null;
      this.changed({ trouble: error.message });
    }
  }

  async _take(list) {
    const before = this.offered;
    this.offered = new Map(list.map((sound) => [sound.name, sound]));
    this.third = thirdOf(this.offered, before, this.third);
    const wanted = [...ALWAYS, this.third].filter((name) => this.offered.has(name));
    const idle = this.names.filter((name) => !wanted.includes(name) && !this._fresh(name));
    idle.forEach((name) => this._drop(name));
    this.changed({ sounds: [...this.offered.keys()], third: this.third, trouble: "" });
    await this._loadAll(wanted.filter((name) => !this._fresh(name)));
  }

  async _loadAll(names) {
    const { job } = this;
    for (const name of names) {
      this.changed({ loading: name });
      try {
        await this.need(name);
      } catch (error) {
        if (this.job === job) this.changed({ trouble: `The ${name} cannot be played: ${error.message}` });
      }
      if (this.job !== job) return;
    }
    this.changed({ loading: null });
  }

  /** Have one sound loaded as it is now; rejects with a sentence when that is not possible. */
  async need(name) {
    if (name === "line" || name === "comp") this.third = name;
    if (this._fresh(name)) {
      this._touch(name);
      return;
    }
    const sound = this.offered.get(name);
    if (!sound) throw new Error(`There is no ${name.replace("-", " ")} to play yet.`);
    const going = `${this.job} ${name} ${sound.key}`;
    if (!this.coming.has(going)) {
      this.coming.set(going, this._fetch(name, sound).finally(() => this.coming.delete(going)));
    }
    await this.coming.get(going);
  }

  async _fetch(name, sound) {
    const { job } = this;
    const address = `/jobs/${encodeURIComponent(job)}/sounds/${name}`;
    let key = sound.key;
    if (!sound.ready) key = (await this.api.work(this.api.post(address))).result;
    const response = await this.api.fetchBytes(`${address}?key=${key}`);
    if (!response.ok) throw new Error((await response.json()).error.message);
    const decoded = await this.engine.decode(await response.arrayBuffer());
    if (this.job !== job) return;
    const duration_s = decoded.channels[0].length / decoded.sampleRate;
    if (name === "guide") {
      await this.engine.open(decoded.sampleRate);
      this.duration_s = duration_s;
    }
    await this.engine.give(name, decoded);
    this.loaded.set(name, key);
    this._touch(name);
    this.changed(name === "guide" ? { ready: true } : {});
  }

  _fresh(name) {
    return this.loaded.has(name) && this.loaded.get(name) === this.offered.get(name)?.key;
  }

  /** This sound was asked for last; of the takes, the ones asked for longest ago make room. */
  _touch(name) {
    const key = this.loaded.get(name);
    this.loaded.delete(name);
    this.loaded.set(name, key);
    const takes = this.names.filter((one) => one.startsWith("take-"));
    takes.slice(0, Math.max(0, takes.length - MOST_TAKES)).forEach((one) => this._drop(one));
  }

  _drop(name) {
    this.loaded.delete(name);
    this.engine.tell({ type: "drop", name });
  }

  _leave(job) {
    for (const name of this.names) this._drop(name);
    this._empty();
    this.job = job;
    this.stamp = null;
    this.third = null;
    this.duration_s = 0;
    this.engine.go({ type: "pause" }, 0);
    this.changed({ ready: false, playing: false, loading: null, loop: null, sounds: [], third: null, trouble: "" });
  }
}

/** The third sound: as chosen while there is one; a comp that has just come takes the line's place. */
function thirdOf(offered, before, chosen) {
  if (offered.has("comp") && before.size > 0 && !before.has("comp")) return "comp";
  if (chosen && offered.has(chosen)) return chosen;
  return ["comp", "line"].find((name) => offered.has(name)) ?? null;
}
