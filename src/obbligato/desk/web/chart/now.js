/** The place in the music on the chart: the bar that sounds, and a line that goes through it. */
import { acrossBar, barAt } from "../lib/chart_layout.js";
import { useEffect } from "../lib/ui.js";

const EDGE_PX = 90;

export function useNow({ store, player }, chart, rows, sheet, page) {
  useEffect(() => {
    if (!player) return undefined;
    const still = matchMedia("(prefers-reduced-motion: reduce)");
    const line = sheet.current.querySelector(".chart-now");
    let shown = -1;
    let row = null;
    let cell = null;
    let box = null;
    const stop = player.onFrame((seconds) => {
      const index = barAt(chart.bars, seconds);
      if (index !== shown) {
        cell?.classList.remove("now");
        shown = index;
        cell = index < 0 ? null : sheet.current.querySelector(`[data-bar="${chart.bars[index].number}"]`);
        cell?.classList.add("now");
        box = cell && boxOf(cell, sheet.current);
        const next = cell?.closest(".chart-row") ?? null;
        if (next !== row && next && store.get().player.playing) bringIntoView(next, still.matches);
        row = next;
      }
      line.hidden = !box || still.matches;
      if (!line.hidden) {
        const bar = chart.bars[index];
        const x = box.left + box.width * acrossBar((seconds - bar.start_s) / (bar.end_s - bar.start_s));
        line.style.transform = `translate(${x.toFixed(1)}px, ${box.top}px)`;
        line.style.height = `${box.height}px`;
      }
    });
    return () => {
      stop();
      cell?.classList.remove("now");
      line.hidden = true;
    };
  }, [player, chart, rows, page]);
}

function boxOf(cell, sheet) {
  const of = sheet.getBoundingClientRect();
  const { left, top, width, height } = cell.getBoundingClientRect();
  return { left: left - of.left, top: top - of.top, width, height };
}

function bringIntoView(row, still) {
  const { top, bottom } = row.getBoundingClientRect();
  if (top >= EDGE_PX / 2 && bottom <= innerHeight - EDGE_PX) return;
  row.scrollIntoView({ block: "center", behavior: still ? "auto" : "smooth" });
}
