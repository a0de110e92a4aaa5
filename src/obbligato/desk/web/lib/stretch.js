/**
 * Slower at pitch: WSOLA (Verhelst & Roelands, "An overlap-add technique based on waveform similarity", ICASSP 1993).
 *
 * Segments of 40 ms, overlapping by half, are taken from the sound at the pace asked for, each shifted within 12.5 ms
 * to where it continues the one before it best. The shift is decided once, on what is heard (the sum of all sounds),
 * and the segments are cut from that sum: whatever sounded together still does, to the sample.
 *
 * Attacks are kept single: a stretch that holds one is played on as it is, and no segment goes back before it
 * (the idea of Grofit & Lavner, IEEE TASLP 16(1), 2008: transients are moved, never stretched).
 */

/** Half a segment, and the step from one to the next. */
export const HOP_S = 0.02;
/** Half a period of 40 Hz: any pitch above finds a place in phase. */
export const SEARCH_S = 0.0125;
/** Shift allowed where an attack is about to be placed: its time counts more than a seamless join. */
export const ATTACK_SEARCH_S = 0.003;
/** An attack is never put off further than this, even where attacks follow one another without a gap. */
const MOST_AHEAD_S = 0.06;
/** The search tries places, and compares samples, at this rate first; then every sample around the best. */
const COARSE_HZ = 12000;
/** An attack: the energy of 1.3 ms, of the second difference, is so many times any in the 12 ms before it (5 dB). */
const ATTACK_RATIO = 3;
const ATTACK_BLOCK_S = 0.00134;
const BLOCKS_BEFORE = 9;
const BLOCKS_APART = 22;
/** Mean square of the second difference below which nothing is taken for an attack. */
const ATTACK_FLOOR = 1e-8;
/** How much likeness (0 to 1) the far end of the search costs: joins equally good go to the nearest place. */
const NEARNESS = 0.02;

/** Stretches the sum of sounds, one hop at a time. */
export class Stretch {
  /**
   * @param {number} sampleRate in Hz
   * @param {(start: number, left: Float32Array, right: Float32Array) => void} read fills both arrays with the sum of
   *   the sounds from sample `start` on (zeros outside of them)
   */
  constructor(sampleRate, read) {
    this.read = read;
    this.hopSize = Math.round(HOP_S * sampleRate);
    this.search = Math.round(SEARCH_S * sampleRate);
    this.attackSearch = Math.round(ATTACK_SEARCH_S * sampleRate);
    this.mostAhead = Math.round(MOST_AHEAD_S * sampleRate);
    this.block = Math.max(8, Math.round(ATTACK_BLOCK_S * sampleRate));
    this.coarse = Math.max(1, Math.round(sampleRate / COARSE_HZ));
    const hop = this.hopSize;
    this.rise = Float32Array.from({ length: hop }, (_, i) => 0.5 - 0.5 * Math.cos((Math.PI * i) / hop));
    this.left = new Float32Array(hop);
    this.right = new Float32Array(hop);
    this.tailLeft = new Float32Array(hop);
    this.tailRight = new Float32Array(hop);
    this.segmentLeft = new Float32Array(2 * hop);
    this.segmentRight = new Float32Array(2 * hop);
    this.centre = 0;
    this.nominal = 0;
  }

  /**
   * Continue from a sample of the sounds: the first sample given out next is that one.
   * @param {number} position whole samples
   */
  begin(position) {
    this.centre = position;
    this.nominal = position;
    this._take(position, false);
  }

  /**
   * The next `hopSize` samples, in `left` and `right`.
   * @param {number} speed 1 as it is, 0.6 slower
   */
  next(speed) {
    this.nominal += speed * this.hopSize;
    this.centre = this._place(this.centre + this.hopSize, speed);
    this._take(this.centre, true);
  }

  /** Count samples from elsewhere: what was sample `by` is 0 from now on. */
  rebase(by) {
    this.centre -= by;
    this.nominal -= by;
  }

  /** Cut out the segment around `centre`: its first half goes on top of the tail, its second becomes the tail. */
  _take(centre, heard) {
    const hop = this.hopSize;
    this.read(centre - hop, this.segmentLeft, this.segmentRight);
    for (let i = 0; i < hop; i++) {
      const up = this.rise[i];
      if (heard) {
        this.left[i] = this.tailLeft[i] + up * this.segmentLeft[i];
        this.right[i] = this.tailRight[i] + up * this.segmentRight[i];
      }
      this.tailLeft[i] = (1 - up) * this.segmentLeft[hop + i];
      this.tailRight[i] = (1 - up) * this.segmentRight[hop + i];
    }
  }

  /** Where the next segment is centred: `follow` is where it would continue the last one without a join. */
  _place(follow, speed) {
    const hop = this.hopSize;
    const nominal = Math.round(this.nominal);
    const margin = this.search + 2 * hop;
    const first = Math.min(nominal, follow) - margin - BLOCKS_BEFORE * this.block;
    const heard = this._mono(first, Math.max(nominal, follow) + margin - first);
    const attacks = findAttacks(heard, this.block);
    const mayWait = follow - nominal <= this.mostAhead;
    if (mayWait && attacks.some((at) => at >= follow - hop && at < follow)) return follow;

    let [low, high] = [nominal - this.search, nominal + this.search];
    const played = attacks.findLast((at) => at < follow - hop);
    if (played !== undefined && mayWait) low = Math.max(low, played + hop);
    const coming = attacks.find((at) => at >= follow && at < high + hop);
    if (coming !== undefined && coming - nominal < speed * hop) {
      const exact = Math.min(coming, Math.round(coming - (coming - this.nominal) / speed));
      low = Math.max(low, exact - this.attackSearch);
      high = Math.min(exact + this.attackSearch, coming);
    } else if (coming !== undefined) {
      high = Math.min(high, coming - hop);
    }
    if (low > high) return mayWait ? follow : nominal;
    return mostAlike(heard.cut(follow - hop, hop), heard, this.coarse, low, high, nominal);
  }

  _mono(start, length) {
    const left = new Float32Array(length);
    const right = new Float32Array(length);
    this.read(start, left, right);
    for (let i = 0; i < length; i++) left[i] = 0.5 * (left[i] + right[i]);
    return new Stretchable(left, start);
  }
}

/** A stretch of sound that knows where it comes from. */
export class Stretchable {
  /**
   * @param {Float32Array} y
   * @param {number} start sample of the song at `y[0]`
   */
  constructor(y, start) {
    this.y = y;
    this.start = start;
  }

  /** A part of it, by samples of the song. */
  cut(from, length) {
    return new Stretchable(this.y.subarray(from - this.start, from - this.start + length), from);
  }
}

/**
 * Samples of the song at which an attack begins, in order.
 * @param {Stretchable} sound
 * @param {number} block length of a block; blocks lie on multiples of it, so that every call finds the same places
 */
export function findAttacks(sound, block) {
  const { y, start } = sound;
  const firstBlock = Math.ceil((start + 2) / block);
  const count = Math.floor((start + y.length) / block) - firstBlock;
  const energy = new Float64Array(Math.max(0, count));
  for (let b = 0; b < count; b++) {
    const from = (firstBlock + b) * block - start;
    let sum = 0;
    for (let i = from; i < from + block; i++) sum += (y[i] - 2 * y[i - 1] + y[i - 2]) ** 2;
    energy[b] = sum / block;
  }
  const attacks = [];
  let lastBlock = -BLOCKS_APART;
  for (let b = BLOCKS_BEFORE; b < count; b++) {
    const before = Math.max(...energy.subarray(b - BLOCKS_BEFORE, b));
    if (energy[b] > ATTACK_FLOOR + ATTACK_RATIO * before && b - lastBlock >= BLOCKS_APART) {
      attacks.push((firstBlock + b) * block);
      lastBlock = b;
    }
  }
  return attacks;
}

/** The centre between `low` and `high` whose first half is most like `goal`; `nominal` wins where many are. */
function mostAlike(goal, heard, coarse, low, high, nominal) {
  const hop = goal.y.length;
  const energy = energies(heard.y);
  const wanted = 1e-9 + goal.y.reduce((sum, v) => sum + v * v, 0);
  const span = Math.max(1, high - low);
  const score = (centre, step) => {
    const from = centre - hop - heard.start;
    const { y } = heard;
    let dot = 0;
    for (let i = 0; i < hop; i += step) dot += y[from + i] * goal.y[i];
    const own = 1e-9 + energy[from + hop] - energy[from];
    return (step * dot) / Math.sqrt(own * wanted) - (NEARNESS * Math.abs(centre - nominal)) / span;
  };
  const best = highest(low, high, coarse, Math.min(Math.max(nominal, low), high), score);
  return highest(Math.max(low, best - coarse), Math.min(high, best + coarse), 1, best, score);
}

function highest(low, high, step, first, score) {
  let best = first;
  let bestScore = score(first, step);
  for (let centre = low; centre <= high; centre += step) {
    const s = score(centre, step);
    if (s > bestScore) [best, bestScore] = [centre, s];
  }
  return best;
}

/** Running sums of the squares: the energy of a stretch is a difference of two. */
function energies(y) {
  const sums = new Float64Array(y.length + 1);
  for (let i = 0; i < y.length; i++) sums[i + 1] = sums[i] + y[i] * y[i];
  return sums;
}
