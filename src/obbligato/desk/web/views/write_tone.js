/** A soft tone while a key is down, so that one hears what one writes. */

const LEVEL = 0.06;
const RISE_S = 0.008;
const FALL_S = 0.06;

export function createTone(AudioContextType = globalThis.AudioContext) {
  let audio = null;
  const sounding = new Map();

  function off(pitch) {
    const voice = sounding.get(pitch);
    if (!voice) return;
    sounding.delete(pitch);
    const now = audio.currentTime;
    voice.level.gain.cancelScheduledValues(now);
    voice.level.gain.setTargetAtTime(0, now, FALL_S / 3);
    voice.wave.stop(now + 4 * FALL_S);
  }

  return {
    on(pitch) {
      if (!AudioContextType) return;
      audio ??= new AudioContextType();
      audio.resume();
      off(pitch);
      const wave = audio.createOscillator();
      const level = audio.createGain();
      wave.type = "triangle";
      wave.frequency.value = 440 * 2 ** ((pitch - 69) / 12);
      level.gain.value = 0;
      level.gain.setTargetAtTime(LEVEL, audio.currentTime, RISE_S);
      wave.connect(level).connect(audio.destination);
      wave.start();
      sounding.set(pitch, { wave, level });
    },
    off,
    silence() {
      for (const pitch of [...sounding.keys()]) off(pitch);
    },
    close() {
      audio?.close();
      audio = null;
      sounding.clear();
    },
  };
}
