/** On the audio thread: the mix behind its ceiling, told what to do by messages; it reports where it is. */

import { Limiter } from "../lib/mix_limit.js";
import { Mixer } from "../lib/mix.js";

/** A report about every 20 ms; in between, the page counts on by the clock. */
const BLOCKS_A_REPORT = 8;

class Sounds extends AudioWorkletProcessor {
  constructor() {
    super();
    this.mixer = new Mixer(sampleRate);
    this.limiter = new Limiter(sampleRate);
    this.unused = new Float32Array(128);
    this.blocks = 0;
    this.toFlush = 0;
    this.order = 0;
    this.port.onmessage = ({ data }) => this.obey(data);
  }

  obey(order) {
    const { mixer } = this;
    const sample = (seconds) => Math.round(seconds * sampleRate);
    if (order.type === "sound") mixer.setSound(order.name, order.channels, order.offset ?? 0);
    if (order.type === "drop") mixer.dropSound(order.name);
    if (order.type === "gains") for (const [name, value] of Object.entries(order.gains)) mixer.setGain(name, value);
    if (order.type === "speed") mixer.setSpeed(order.speed);
    if (order.type === "loop") {
      mixer.setLoop(order.loop && { start: sample(order.loop.start_s), end: sample(order.loop.end_s) });
    }
    if (order.type === "play") {
      const until = order.until_s === undefined ? null : sample(order.until_s);
      mixer.play({ from: order.from_s === undefined ? undefined : sample(order.from_s), until });
    }
    if (order.type === "pause") mixer.pause();
    if (order.type === "seek") mixer.seek(sample(order.to_s));
    this.order = order.id;
    this.report();
  }

  /** `time` is the context's time at which what is at `place_s` leaves the limiter. */
  report() {
    const { mixer } = this;
    this.port.postMessage({
      order: this.order, time: currentTime + this.limiter.delay / sampleRate, place_s: mixer.position / sampleRate,
      speed: mixer.speed, moving: mixer.playing, ended: mixer.ended,
    });
  }

  process(_inputs, outputs) {
    const [left, second] = outputs[0];
    const right = second ?? this.unused;
    const wasPlaying = this.mixer.playing;
    if (this.mixer.still && this.toFlush <= 0) return true;
    if (wasPlaying && this.blocks % BLOCKS_A_REPORT === 0) this.report();
    this.blocks += 1;
    this.mixer.render(left, right);
    this.limiter.process(left, right);
    this.toFlush = this.mixer.still ? this.toFlush - left.length : this.limiter.delay + left.length;
    if (wasPlaying && !this.mixer.playing) this.report();
    return true;
  }
}

registerProcessor("sounds-of-a-job", Sounds);
