/**
 * The ceiling of what is heard: a limiter that looks 3 ms ahead and leaves everything below -1 dBFS as it is.
 *
 * The gain that each sample needs is held as a minimum over the time looked ahead, let go slowly, and then averaged
 * over that same time: an average of values none of which lets the sample pass cannot let it pass either.
 */

export const CEILING = 10 ** (-1 / 20);
export const AHEAD_S = 0.003;
const LET_GO_S = 0.08;

/** Delays what passes through it by `delay` samples. */
export class Limiter {
  /** @param {number} sampleRate in Hz */
  constructor(sampleRate) {
    this.delay = Math.max(1, Math.round(AHEAD_S * sampleRate));
    this.letGo = 1 - Math.exp(-1 / (LET_GO_S * sampleRate));
    this.pastLeft = new Float32Array(this.delay);
    this.pastRight = new Float32Array(this.delay);
    this.held = new Float64Array(this.delay + 1).fill(1);
    this.sum = this.delay + 1;
    this.slow = 1;
    this.at = 0;
    this.heldAt = 0;
    this.window = [];
    this.count = 0;
  }

  /**
   * Limit two channels in place.
   * @param {Float32Array} left
   * @param {Float32Array} right
   */
  process(left, right) {
    for (let i = 0; i < left.length; i++) {
      const gain = this._gainFor(Math.max(Math.abs(left[i]), Math.abs(right[i])));
      const [l, r] = [this.pastLeft[this.at], this.pastRight[this.at]];
      this.pastLeft[this.at] = left[i];
      this.pastRight[this.at] = right[i];
      this.at = (this.at + 1) % this.delay;
      left[i] = gain * l;
      right[i] = gain * r;
    }
  }

  /** The averaged gain for the sample that leaves now, `peak` being the one that enters. */
  _gainFor(peak) {
    const needed = peak > CEILING ? (CEILING * (1 - 1e-6)) / peak : 1;
    while (this.window.length && this.window[this.window.length - 1].gain >= needed) this.window.pop();
    this.window.push({ gain: needed, until: this.count + this.delay });
    if (this.window[0].until < this.count) this.window.shift();
    this.count += 1;
    const least = this.window[0].gain;
    this.slow = least < this.slow ? least : this.slow + this.letGo * (least - this.slow);
    if (this.slow > 1 - 1e-6) this.slow = 1;
    this.sum += this.slow - this.held[this.heldAt];
    this.held[this.heldAt] = this.slow;
    this.heldAt = (this.heldAt + 1) % this.held.length;
    if (this.heldAt === 0) this.sum = this.held.reduce((total, gain) => total + gain, 0);
    return this.sum / this.held.length;
  }
}
