/** The part while a take runs: rows that turn ahead, the marker, and where sound was lost. */
import { fitRows, markerX, places } from "../lib/stand.js";
import { RUNNING } from "../lib/record.js";
import { html, useEffect, useLayoutEffect, useMemo, useRef, useState } from "../lib/ui.js";
import { useOwn } from "./own.js";
import { MARGIN_PX, Row, ratioOf, useFollowing, useScreen } from "./stand_rows.js";

const FOOT_SHARE = 0.2;

/** @param {{silences: {current: object[]}}} props `silences` is filled with the rests of the part for whoever counts them */
export function Music({ context: { api, recorder }, job, name, head, running, lost, start_s, silences }) {
  const screen = useScreen();
  const room = useRef();
  const [height, setHeight] = useState(0);
  const [part, , trouble] = useOwn(api, `/jobs/${encodeURIComponent(name)}/stand?ratio=${ratioOf(screen)}`, job.stamp);
  useLayoutEffect(() => setHeight(room.current?.clientHeight ?? 0), [screen, part, running]);
  const start = useRef(start_s);
  start.current = start_s;
  const source = useMemo(() => ({
    onFrame: (fn) => recorder.onFrame((place_s) => fn(RUNNING.includes(recorder.store.get().now.phase) ? place_s : start.current)),
  }), [recorder]);
  useEffect(() => { silences.current = part?.silences ?? []; }, [part]);
  const fit = part && fitRows({
    heights: part.rows.map(({ row }) => row.height), rowWidth: part.width, stave: part.stave, width: screen.width - 2 * MARGIN_PX,
    height: screen.height, head: height ? screen.height - height : (head.current?.offsetHeight ?? 0) + FOOT_SHARE * screen.height,
  });
  const follow = useFollowing({ source, part, shown: fit?.shown ?? 1, playing: running });
  if (!part) return html`<div class="stand-rows take-music" ref=${room}><p class="soft">${trouble ? "There is no line yet: the bars are counted above." : "Setting the part …"}</p></div>`;
  return html`<div class="stand-rows take-music" ref=${room}>
    ${places(follow.first, fit.shown, part.rows.length).map((index, place) => index === null
      ? html`<div class="stand-row gone" key=${`gone-${place}`}></div>`
      : html`<${Row} key=${index} one=${part.rows[index]} scale=${fit.scale} played=${index === follow.played} onMark=${follow.register} index=${index}
        over=${lostOn(part.rows[index], lost)} />`)}
  </div>`;
}

/** The drop-outs that lie on a row, as signs over its stave. */
function lostOn({ row, marks }, lost) {
  const [first_s, last_s] = [marks[0].at_s, marks[marks.length - 1].at_s];
  return lost.filter(({ at_s }) => at_s >= first_s && at_s < last_s).map(({ at_s }) => {
    const x = markerX(marks, at_s);
    return html`<g class="take-lost" key=${at_s}><path d=${`M${x} ${row.stave_top - 30} v140`} /><text x=${x + 6} y=${row.stave_top - 12}>lost</text></g>`;
  });
}
