/** The pencil line through the chosen cells: straight down inside a cell, over to the next column in between. */

/**
 * @param {(number|null)[]} columns by phrase, the column of the chosen take; null where none is chosen
 * @param {{inset?: number, keep?: number}} how `inset`: where in a cell's width the line runs; `keep`: how much of the
 *   cell's height it runs straight
 * @returns {string} an outline in units of one cell, x from the first take's left edge, y from the first phrase's top
 */
export function pencilLine(columns, { inset = 0.06, keep = 0.72 } = {}) {
  const margin = (1 - keep) / 2;
  let path = "";
  let before = null;
  columns.forEach((column, row) => {
    if (column === null) {
      before = null;
      return;
    }
    const x = column + inset;
    const [top, end] = [row + margin, row + 1 - margin];
    if (before === null) path += `M${r(x)} ${r(top)}`;
    else if (before === x) path += `V${r(top)}`;
    else path += `C${r(before)} ${r(row)} ${r(x)} ${r(row)} ${r(x)} ${r(top)}`;
    path += `V${r(end)}`;
    before = x;
  });
  return path;
}

const r = (value) => Number(value.toFixed(3));
