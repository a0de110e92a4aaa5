/** The page: masthead, the stages of the job as words, the chart, the view of the stage, the listening bar. */
import { Chart } from "./chart/chart.js";
import { createPlayer } from "./audio/player.js";
import { createApi, takeToken } from "./state/api.js";
import { createKeys } from "./lib/keys.js";
import { createRecorder } from "./state/recorder.js";
import { createStore } from "./state/store.js";
import { follow, load } from "./state/loading.js";
import { html, render, useEffect, useState, useStore } from "./lib/ui.js";
import { KeysCard } from "./views/keys.js";
import { Masthead, Notices, Stages } from "./views/masthead.js";
import { View as Listen } from "./views/listen.js";
import { LAYOUTS, VIEWS, placeOf, toPlace } from "./state/places.js";

const LOAD = {
  jobs: () => import("./views/jobs.js"),
  song: () => import("./views/song.js"),
  write: () => import("./views/write.js"),
  page: () => import("./views/page.js"),
  stand: () => import("./views/stand.js"),
  record: () => import("./views/record.js"),
  take: () => import("./views/take.js"),
  choose: () => import("./views/choose.js"),
  client: () => import("./views/client.js"),
  delivery: () => import("./views/delivery.js"),
  account: () => import("./views/account.js"),
};

takeToken();
const kept = (name, otherwise) => localStorage.getItem(`obbligato-${name}`) ?? otherwise;
const dark = matchMedia("(prefers-color-scheme: dark)");
const store = createStore({
  online: "yes", tasks: [], recording: { phase: "idle", job: "", number: null, outcome: "" }, jobs: null, folder: "", instruments: [], name: null, job: null, chart: null, view: "jobs", trouble: "",
  selection: null, said: "", pitch: kept("pitch", "written"), theme: kept("theme", dark.matches ? "dark" : "light"), keysOpen: false,
  player: { ready: false, loading: null, playing: false, speed: 1, loop: null, runIn: true, gains: {}, sounds: [] },
});
const api = createApi(store);
const player = createPlayer({ api, store });
const recorder = createRecorder({ api });
const keys = createKeys();

const actions = {
  open: (name, view = "song") => actions.go(view, name),
  go(view, name = store.get().name) {
    const place = toPlace(view === "jobs" ? null : name, view);
    if (location.hash !== place) location.hash = place;
    else arrive();
  },
  refresh: () => load(store, api),
  select: (first, last) => store.set({ selection: first === null ? null : { first: Math.min(first, last), last: Math.max(first, last) } }),
  playFrom(number) {
    const bar = store.get().chart?.bars.find((one) => one.number === number);
    if (!bar) return;
    player.seek(Math.max(0, bar.start_s));
    player.play();
  },
  setPitch(pitch) {
    localStorage.setItem("obbligato-pitch", pitch);
    store.set({ pitch });
  },
  setTheme(theme) {
    localStorage.setItem("obbligato-theme", theme);
    store.set({ theme });
  },
  say: (text) => store.set({ said: text }),
};
const context = { store, api, player, recorder, actions, keys, announce: actions.say };

keys.add("Everywhere", [
  { keys: "?", does: "show or hide this card", run: () => store.set(({ keysOpen }) => ({ keysOpen: !keysOpen })) },
  ...VIEWS.map(({ view, title }, index) => ({
    keys: `Alt+${index + 1}`, does: `go to ${title}`, run: () => store.get().name && actions.go(view),
  })),
  { keys: "Alt+0", does: "go to the list of jobs", run: () => actions.go("jobs") },
  { keys: "Alt+p", does: "written or sounding pitch", run: () => actions.setPitch(store.get().pitch === "written" ? "sounding" : "written") },
  { keys: "Alt+l", does: "light or dark", run: () => actions.setTheme(store.get().theme === "dark" ? "light" : "dark") },
]);
addEventListener("keydown", (event) => keys.press(event));

function arrive() {
  const { name, view } = placeOf(location.hash);
  sessionStorage.setItem("obbligato-place", location.hash);
  const before = store.get();
  if (name !== before.name) store.set({ name, job: null, chart: null, selection: null, trouble: "" });
  store.set({ view });
  load(store, api);
  if (view !== before.view) document.querySelector("#view")?.focus?.({ preventScroll: true });
}
addEventListener("hashchange", arrive);
for (const kind of ["dragover", "drop"]) addEventListener(kind, (event) => event.preventDefault());

function Page() {
  const state = useStore(store);
  const [module, setModule] = useState({ view: null });
  useEffect(() => { document.documentElement.dataset.theme = state.theme; }, [state.theme]);
  useEffect(() => {
    document.title = state.job ? `${state.job.brief.title} - Obbligato` : "Obbligato";
  }, [state.job?.brief.title]);
  useEffect(() => {
    let wanted = true;
    LOAD[state.view]().then(
      (loaded) => wanted && setModule({ view: state.view, View: loaded.View }),
      () => wanted && store.set({ trouble: "This part of the page did not come; reload the page." }),
    );
    return () => { wanted = false; };
  }, [state.view]);
  useEffect(() => {
    if (state.job && state.chart && state.chart.state !== "none") player.load(state.name, state.job.stamp);
  }, [state.name, state.job?.stamp, state.chart?.state]);
  const layout = LAYOUTS[state.view];
  const shown = module.view === state.view ? html`<${module.View} context=${context} key=${state.name} />` : null;
  const needsJob = state.view !== "jobs";
  const chartFirst = state.view === "song" && state.chart?.bars.length > 0 && !state.chart.questions.length;
  const sheet = html`<section key="sheet" class="sheet" aria-label="The song as a chart">
    ${chartFirst && html`<p class="to-panel small"><a href="#view" onClick=${toView}>What was heard, and putting it right</a></p>`}
    <${Chart} context=${context} /></section>`;
  if (layout === "alone" && needsJob) return html`<main id="view" tabindex="-1">${state.job && shown}</main>
    ${state.keysOpen && html`<${KeysCard} context=${context} />`}<${Said} said=${state.said} />`;
  return html`
    <a class="skip" href="#view" onClick=${toView}>Skip to the page</a>
    <${Masthead} context=${context} />
    ${needsJob && html`<${Stages} context=${context} />`}
    <${Notices} context=${context} />
    <main class=${`spread ${layout}`}>
      ${chartFirst && sheet}
      <section key="view" class=${needsJob ? "panel" : ""} id="view" tabindex="-1" aria-label=${VIEWS.find((one) => one.view === state.view)?.title ?? "Jobs"}>
        ${needsJob && !state.job ? html`<p class="soft">${state.trouble || "Opening the job …"}</p>` : shown}
      </section>
      ${needsJob && !chartFirst && sheet}
    </main>
    ${needsJob && state.job && html`<div class="foot"><${Listen} context=${context} /></div>`}
    ${state.keysOpen && html`<${KeysCard} context=${context} />`}
    <${Said} said=${state.said} />`;
}

function toView(event) {
  event.preventDefault();
  const view = document.querySelector("#view");
  view.focus({ preventScroll: true });
  view.scrollIntoView({ block: "start" });
}

function Said({ said }) {
  return html`<p class="for-readers" role="status" aria-live="polite">${said}</p>`;
}

const root = document.querySelector("#page");
root.textContent = "";
render(html`<${Page} />`, root);
arrive();
follow(store, api, recorder);
for (const loading of Object.values(LOAD)) loading().catch(() => {});
