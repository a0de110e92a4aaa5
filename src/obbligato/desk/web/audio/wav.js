/** Wave files into samples: integers of 16, 24 and 32 bits, and 32-bit floating point; the values libsndfile reads. */

const PCM = 1;
const FLOAT = 3;
const EXTENSIBLE = 0xfffe;

/**
 * @param {ArrayBuffer} bytes a whole RIFF wave file
 * @returns {{sampleRate: number, channels: Float32Array[]}} full scale is 1
 * @throws {Error} with a sentence, when it is no such file
 */
export function decodeWav(bytes) {
  const view = new DataView(bytes);
  if (bytes.byteLength < 12 || word(view, 0) !== "RIFF" || word(view, 8) !== "WAVE") {
    throw new Error("This is not a wave file.");
  }
  let format = null;
  for (let at = 12; at + 8 <= bytes.byteLength; ) {
    const size = view.getUint32(at + 4, true);
    if (word(view, at) === "fmt ") format = readFormat(view, at + 8);
    if (word(view, at) === "data") {
      if (!format) throw new Error("This wave file does not say how its sound is stored.");
      return samples(bytes, at + 8, Math.min(size, bytes.byteLength - at - 8), format);
    }
    at += 8 + size + (size % 2);
  }
  throw new Error("This wave file has no sound in it.");
}

function word(view, at) {
  return String.fromCharCode(...[0, 1, 2, 3].map((i) => view.getUint8(at + i)));
}

function readFormat(view, at) {
  const kind = view.getUint16(at, true);
  return {
    kind: kind === EXTENSIBLE ? view.getUint16(at + 24, true) : kind,
    channels: view.getUint16(at + 2, true),
    sampleRate: view.getUint32(at + 4, true),
    bits: view.getUint16(at + 14, true),
  };
}

function samples(bytes, start, size, { kind, channels, sampleRate, bits }) {
  const width = bits / 8;
  const frames = Math.floor(size / (width * channels));
  const out = Array.from({ length: channels }, () => new Float32Array(frames));
  const data = new Uint8Array(bytes, start, frames * width * channels);
  const view = new DataView(bytes, start, data.length);
  for (let c = 0; c < channels; c++) {
    const y = out[c];
    const step = width * channels;
    let at = c * width;
    if (kind === PCM && bits === 16) {
      for (let i = 0; i < frames; i++, at += step) y[i] = view.getInt16(at, true) / 0x8000;
    } else if (kind === PCM && bits === 24) {
      for (let i = 0; i < frames; i++, at += step) {
        y[i] = ((data[at] << 8) | (data[at + 1] << 16) | (data[at + 2] << 24)) / 0x80000000;
      }
    } else if (kind === PCM && bits === 32) {
      for (let i = 0; i < frames; i++, at += step) y[i] = view.getInt32(at, true) / 0x80000000;
    } else if (kind === FLOAT && bits === 32) {
      for (let i = 0; i < frames; i++, at += step) y[i] = view.getFloat32(at, true);
    } else {
      throw new Error(`A wave file of ${bits} bits (kind ${kind}) cannot be played here.`);
    }
  }
  return { sampleRate, channels: out };
}
