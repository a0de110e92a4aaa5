/** Bringing the store up to date with the server: now, and whenever the server says that something changed. */

let turn = 0;

/** Fetch what the page shows; of two fetches under way only the later counts. */
export async function load(store, api) {
  const mine = ++turn;
  const { name } = store.get();
  const take = (patch) => mine === turn && store.get().name === name && store.set(patch);
  try {
    if (!store.get().instruments.length) store.set({ instruments: await api.get("/instruments") });
    if (!name) {
      const { folder, jobs } = await api.get("/jobs");
      take({ folder, jobs });
      return;
    }
    const address = `/jobs/${encodeURIComponent(name)}`;
    const [job, chart] = await Promise.all([api.get(address), api.get(`${address}/chart`)]);
    take({ job, chart, trouble: "" });
  } catch (error) {
    if (error.status === 404) take(stillComing(store, name) ? { trouble: "" } : { job: null, chart: null, trouble: error.message });
    else if (error.code !== "gone") take({ trouble: error.message });
  }
}

/** Whether a job that is not there yet is being made. */
function stillComing(store, name) {
  return store.get().tasks.some((task) => task.job === name && (task.state === "running" || task.state === "waiting"));
}

/** Keep up with the server for as long as the page is open. */
export function follow(store, api, recorder) {
  return api.follow((message) => {
    if (message.recording) {
      store.set({ recording: message.recording });
      recorder.changed();
    }
    if (message.type === "recording") return;
    if (message.type === "hello") {
      store.set({ online: "yes" });
      load(store, api);
    } else if (message.type === "jobs" || !store.get().name || message.job === store.get().name) {
      load(store, api);
    }
  });
}
