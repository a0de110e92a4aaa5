/** The place in the music on the chart: the bar that sounds, and a line that goes through it, kept in that bar's row. */
import { acrossBar, barAt } from "../lib/chart_layout.js";
import { useEffect } from "../lib/ui.js";

const EDGE_PX = 90;

export function useNow({ store, player }, chart, rows, sheet, page) {
  useEffect(() => {
    if (!player) return undefined;
    const still = matchMedia("(prefers-reduced-motion: reduce)");
    const line = document.createElement("i");
    line.className = "chart-now";
    line.setAttribute("aria-hidden", "true");
    let shown = -1;
    let cell = null;
    function goTo(index) {
      const row = cell?.closest(".chart-row");
      cell?.classList.remove("now");
      shown = index;
      cell = index < 0 ? null : sheet.current.querySelector(`[data-bar="${chart.bars[index].number}"]`);
      if (!cell) return line.remove();
      cell.classList.add("now");
      if (still.matches) line.remove();
      else if (line.parentNode !== cell.parentNode) cell.parentNode.append(line);
      const next = cell.closest(".chart-row");
      if (next !== row && store.get().player.playing) bringIntoView(next, still.matches);
      return undefined;
    }
    const stop = player.onFrame((seconds) => {
      const index = barAt(chart.bars, seconds);
      if (index !== shown || (cell && !cell.isConnected)) goTo(index);
      if (!line.parentNode) return;
      const bar = chart.bars[index];
      const x = cell.offsetLeft + cell.offsetWidth * acrossBar((seconds - bar.start_s) / (bar.end_s - bar.start_s));
      line.style.transform = `translateX(${x.toFixed(1)}px)`;
    });
    return () => {
      stop();
      cell?.classList.remove("now");
      line.remove();
    };
  }, [player, chart, rows, page]);
}

function bringIntoView(row, still) {
  const { top, bottom } = row.getBoundingClientRect();
  if (top >= EDGE_PX / 2 && bottom <= innerHeight - EDGE_PX) return;
  row.scrollIntoView({ block: "center", behavior: still ? "auto" : "smooth" });
}
