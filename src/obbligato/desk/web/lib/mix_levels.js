/** From sliders to amplitudes: what each sound is given, as the player set it or as a span asks for. */

/** Where the sliders stand at first: moderate, for the ears; guide and line alike, as they are blended. */
export const FIRST_GAINS = Object.freeze({ guide: 0.7, click: 0.5, line: 0.7, comp: 0.7 });

/** Amplitude of a slider from 0 to 1: half way is 12 dB down, where it sounds about half as loud. */
export function amplitude(slider) {
  return slider * slider;
}

/** What a slider does, in words for those who do not see it. */
export function inWords(slider) {
  if (slider === 0) return "silent";
  const down = -20 * Math.log10(amplitude(slider));
  return down < 0.05 ? "as loud as the file" : `${Math.round(down)} decibels below the file`;
}

/**
 * Amplitudes by sound for ordinary listening: guide, click and the one third sound chosen.
 * @param {{gains: Record<string, number>, third: string | null, sounds: string[]}} player
 */
export function playingLevels({ gains, third, sounds }) {
  const heard = ["guide", "click", third];
  return Object.fromEntries(sounds.map((name) => [name, heard.includes(name) ? amplitude(gains[name] ?? 0) : 0]));
}

/**
 * Amplitudes for one span of choosing: one sound alone, or those named over the guide; matched by `gainsDb`.
 * @param {{gains: Record<string, number>, sounds: string[]}} player
 * @param {{alone?: string | null, gainsDb?: Record<string, number>}} span
 */
export function spanLevels({ gains, sounds }, { alone = null, gainsDb = {} }) {
  const base = amplitude(gains.comp);
  const level = (name) => {
    const heard = alone ? name === alone : name in gainsDb;
    if (heard) return base * 10 ** ((gainsDb[name] ?? 0) / 20);
    return name === "guide" && !alone ? amplitude(gains.guide) : 0;
  };
  return Object.fromEntries(sounds.map((name) => [name, level(name)]));
}

/** How loud a count is to be where the click is heard as well, and where it is not. */
export function countLevel(at_s, clickAmplitude, wanted = 0.5) {
  return at_s < 0 ? Math.max(wanted, clickAmplitude) : Math.max(0, wanted - clickAmplitude);
}
