/** The audio thread as the player drives it: the context at the guide's rate, decoding, and orders to the worklet. */

import { Place, heardTime } from "./place.js";

const asUrl = (name) => new URL(name, import.meta.url);

/** One context with its worklet, for guides of one sampling rate. */
export class Engine {
  /** @param {(report: object) => void} onReport hears where the worklet is */
  constructor(onReport) {
    this.onReport = onReport;
    this.context = null;
    this.node = null;
    this.place = new Place();
    this.decoder = null;
    this.waiting = new Map();
    this.orders = 0;
    this.heeded = 0;
  }

  /**
   * Make the context, at the guide's own rate where the browser can.
   * @param {number} sampleRate in Hz
   */
  async open(sampleRate) {
    if (this.context && this.wantedRate === sampleRate) return;
    await this.close();
    this.wantedRate = sampleRate;
    try {
      this.context = new AudioContext({ sampleRate, latencyHint: "interactive" });
    } catch {
      this.context = new AudioContext({ latencyHint: "interactive" });
    }
    await this.context.audioWorklet.addModule(asUrl("player-worklet.js"));
    this.node = new AudioWorkletNode(this.context, "sounds-of-a-job", { numberOfInputs: 0, outputChannelCount: [2] });
    this.node.port.onmessage = ({ data }) => {
      if (data.order < this.heeded) return;
      if (data.moving || data.ended) this.place.add(data);
      this.onReport(data);
    };
    this.node.connect(this.context.destination);
  }

  async close() {
    const { context } = this;
    this.context = null;
    this.node = null;
    if (context) await context.close();
  }

  /** Tell the worklet something; buffers in `transfer` are handed over. */
  tell(order, transfer = []) {
    this.orders += 1;
    this.node?.port.postMessage({ ...order, id: this.orders }, transfer);
  }

  /** Tell it to play, stop or go elsewhere; it is at `place_s` from now on, whatever earlier reports still come in. */
  go(order, place_s) {
    this.tell(order);
    this.heeded = this.orders;
    this.place.stand(place_s);
  }

  /** Give the worklet a sound; its samples are handed over. */
  async give(name, { channels, sampleRate }, offset = 0) {
    let own = channels.slice(0, 2);
    if (sampleRate !== this.context.sampleRate) own = await resampled(own, sampleRate, this.context.sampleRate);
    this.tell({ type: "sound", name, channels: own, offset }, own.map((y) => y.buffer));
  }

  /** Seconds of the guide that are heard now. */
  get heard_s() {
    return this.place.at(this.context ? heardTime(this.context, performance.now()) : 0);
  }

  /**
   * Samples of a wave file, read beside the page.
   * @param {ArrayBuffer} bytes handed over
   * @returns {Promise<{sampleRate: number, channels: Float32Array[]}>}
   */
  decode(bytes) {
    this.decoder ??= this._decoder();
    const id = crypto.randomUUID();
    return new Promise((resolve, reject) => {
      this.waiting.set(id, { resolve, reject });
      this.decoder.postMessage({ id, bytes }, [bytes]);
    });
  }

  _decoder() {
    const worker = new Worker(asUrl("decode-worker.js"), { type: "module" });
    worker.onmessage = ({ data }) => {
      const asked = this.waiting.get(data.id);
      this.waiting.delete(data.id);
      if (data.error) asked.reject(new Error(data.error));
      else asked.resolve(data);
    };
    return worker;
  }
}

/** For a browser that has no context of the guide's rate: all sounds are converted alike, and stay together. */
async function resampled(channels, from, to) {
  const offline = new OfflineAudioContext(channels.length, Math.ceil((channels[0].length * to) / from), to);
  const source = new AudioBufferSourceNode(offline, {
    buffer: new AudioBuffer({ length: channels[0].length, numberOfChannels: channels.length, sampleRate: from }),
  });
  channels.forEach((y, c) => source.buffer.copyToChannel(y, c));
  source.connect(offline.destination);
  source.start();
  const rendered = await offline.startRendering();
  return channels.map((_, c) => rendered.getChannelData(c));
}
