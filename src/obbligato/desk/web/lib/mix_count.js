/** The count of a run-in: soft tones on the beats of the bars before the place from which is played. */

export const RUN_IN_BARS = 2;
const [FIRST_HZ, OTHER_HZ] = [1320, 990];
const [FIRST_LEVEL, OTHER_LEVEL] = [10 ** (-10 / 20), 10 ** (-13 / 20)];
const [RISE_S, DECAY_S, LENGTH_S] = [0.0015, 0.014, 0.07];

/**
 * @typedef {{at_s: number, first: boolean}} Count one beat to count, `first` of its bar
 *
 * The beats of the bars before a place; before the first bar known they go on backwards in its own tempo. Who begins
 * before the first bar has time enough and gets no count.
 * @param {{start_s: number, end_s: number, beats_s: number[]}[]} bars of the chart, in order
 * @param {number} place_s where playing is to begin
 * @param {number} howMany bars to count
 * @returns {{from_s: number, counts: Count[]}}
 */
export function runIn(bars, place_s, howMany = RUN_IN_BARS) {
  if (!bars.length || place_s < bars[0].start_s - 1e-3) return { from_s: place_s, counts: [] };
  const near = bars.findIndex((bar) => bar.end_s > place_s + 1e-6);
  const index = near < 0 ? bars.length - 1 : near;
  const into = Math.max(0, place_s - bars[index].start_s);
  const beat_s = (bars[index].end_s - bars[index].start_s) / Math.max(1, bars[index].beats_s.length);
  const first = into > beat_s / 2 ? index + 1 : index;
  const counts = [];
  let from_s = place_s;
  for (let k = first - howMany; k < first; k++) {
    const bar = k >= 0 ? bars[k] : backwards(bars[0], -k);
    if (!bar) continue;
    from_s = Math.min(from_s, bar.start_s);
    bar.beats_s.forEach((at_s, beat) => {
      if (at_s < place_s - 1e-3) counts.push({ at_s, first: beat === 0 });
    });
  }
  return { from_s, counts };
}

function backwards(bar, barsBack) {
  const by = barsBack * (bar.end_s - bar.start_s);
  return { start_s: bar.start_s - by, end_s: bar.end_s - by, beats_s: bar.beats_s.map((at) => at - by) };
}

/**
 * The count as one sound.
 * @param {Count[]} counts in order
 * @param {number} sampleRate in Hz
 * @param {(count: Count) => number} level amplitude to give each, 1 as loud as the click's file
 * @returns {{y: Float32Array, offset: number}} `offset`: sample of the guide at `y[0]`
 */
export function countSound(counts, sampleRate, level = () => 1) {
  if (!counts.length) return { y: new Float32Array(0), offset: 0 };
  const offset = Math.round(counts[0].at_s * sampleRate);
  const length = Math.round(LENGTH_S * sampleRate);
  const y = new Float32Array(Math.round(counts[counts.length - 1].at_s * sampleRate) - offset + length);
  for (const count of counts) {
    const tone = countTone(count.first, sampleRate, length);
    const at = Math.round(count.at_s * sampleRate) - offset;
    const loud = level(count);
    for (let i = 0; i < length; i++) y[at + i] += loud * tone[i];
  }
  return { y, offset };
}

function countTone(first, sampleRate, length) {
  const [hz, level] = first ? [FIRST_HZ, FIRST_LEVEL] : [OTHER_HZ, OTHER_LEVEL];
  return Float32Array.from({ length }, (_, i) => {
    const t = i / sampleRate;
    const rise = t < RISE_S ? 0.5 - 0.5 * Math.cos((Math.PI * t) / RISE_S) : 1;
    const end = Math.min(1, (LENGTH_S - t) / (0.2 * LENGTH_S));
    return level * rise * end * Math.exp(-t / DECAY_S) * Math.cos(2 * Math.PI * hz * t);
  });
}
