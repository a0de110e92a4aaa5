/** Beside the page: the bytes of a wave file in, its samples out, neither copied. */

import { decodeWav } from "./wav.js";

self.onmessage = ({ data: { id, bytes } }) => {
  try {
    const { sampleRate, channels } = decodeWav(bytes);
    self.postMessage({ id, sampleRate, channels }, channels.map((y) => y.buffer));
  } catch (error) {
    self.postMessage({ id, error: error.message });
  }
};
