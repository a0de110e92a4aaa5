/* In the page: the guide to the left and the click to the right through the real worklet, and where each came out. */
async ({ token, job, speed, times }) => {
  const AHEAD_S = 0.003; // the limiter's, by which everything comes out later
  const { decodeWav } = await import("/audio/wav.js");
  const headers = { Authorization: `Bearer ${token}` };
  const list = await (await fetch(`/api/jobs/${job}/sounds`, { headers })).json();
  const load = async (name) => {
    const { url } = list.find((sound) => sound.name === name);
    return decodeWav(await (await fetch(url, { headers })).arrayBuffer());
  };
  const guide = await load("guide");
  const click = await load("click");
  const sr = guide.sampleRate;
  const sources = [guide.channels[0], click.channels[0]];
  const context = new OfflineAudioContext(2, Math.ceil(sources[0].length / speed), sr);
  await context.audioWorklet.addModule("/audio/player-worklet.js");
  const node = new AudioWorkletNode(context, "sounds-of-a-job", { numberOfInputs: 0, outputChannelCount: [2] });
  node.connect(context.destination);
  const silence = () => new Float32Array(sources[0].length);
  const orders = [
    { type: "sound", name: "guide", channels: [sources[0], silence()] },
    { type: "sound", name: "click", channels: [silence(), sources[1]] },
    { type: "gains", gains: { guide: 1, click: 1 } },
    { type: "speed", speed },
    { type: "play", from_s: 0 },
  ];
  const obeyed = new Promise((done) => {
    node.port.onmessage = ({ data }) => data.order === orders.length && done();
  });
  orders.forEach((order, i) => node.port.postMessage({ ...order, id: i + 1 }));
  await obeyed;
  const rendered = await context.startRendering();
  const out = [rendered.getChannelData(0), rendered.getChannelData(1)];
  const delay = Math.round(AHEAD_S * sr);

  /** How much later than it should, in ms, the 10 ms from `at` on are found in the output: the lag most alike. */
  function late(channel, at) {
    const [y, source] = [out[channel], sources[channel]];
    const n = Math.round(0.01 * sr);
    const centre = Math.round(at / speed) + delay;
    const most = Math.round((speed === 1 ? 0.002 : 0.02) * sr);
    let [best, where] = [-Infinity, 0];
    for (let lag = -most; lag <= most; lag++) {
      let [dot, energy] = [0, 1e-12];
      for (let i = 0; i < n; i++) {
        const v = y[centre + lag + i] ?? 0;
        dot += v * source[at + i];
        energy += v * v;
      }
      if (dot / Math.sqrt(energy) > best) [best, where] = [dot / Math.sqrt(energy), lag];
    }
    return (1e3 * where) / sr;
  }
  let greatest = 0;
  const fade = Math.round(0.006 * sr);
  if (speed === 1) {
    for (const channel of [0, 1]) {
      for (let i = fade; i + delay < sources[0].length; i++) {
        greatest = Math.max(greatest, Math.abs(out[channel][i + delay] - sources[channel][i]));
      }
    }
  }
  return { places: times.map((t) => [late(0, Math.round(t * sr)), late(1, Math.round(t * sr))]), greatest };
}
