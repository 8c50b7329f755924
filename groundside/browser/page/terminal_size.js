// The size of the terminal's letters. It depends on the longer and the shorter side alone, so that
// a turned phone keeps its letters and only gets other rows and columns.

const LETTER = 0.6, LINE = 1.32; // width and height of a cell, in the font's size (Roboto Mono)

// Each screen is given at least so many columns and rows, in its longer direction lying down; and a
// phone so many columns standing up. 18 rows lying down leave 21 px for each of a common phone:
// buttons of three rows are then larger than 44 px (WCAG 2.2, 2.5.5).
const PHONE_BELOW_PX = 600, PHONE_COLUMNS = 40, PHONE_ROWS = 18;
const TABLET_BELOW_PX = 1100, TABLET_COLUMNS = 80, TABLET_ROWS = 24;
const LAPTOP_COLUMNS = 120, LAPTOP_ROWS = 40;
const ROW_LEAST_PX = 15; // three rows are then 45 px

// Return the font's size [CSS px] for a page's size [CSS px] and device pixels per CSS pixel.
export function fontSize(width, height, scale) {
  const long = Math.max(width, height), short = Math.min(width, height);
  const inColumns = (side, columns) => Math.floor((side * scale) / columns) / scale / LETTER;
  const inRows = (side, rows) => Math.floor((side * scale) / rows) / scale / LINE;
  let size;
  if (short < PHONE_BELOW_PX) {
    size = Math.min(short / PHONE_COLUMNS / LETTER, inRows(short, PHONE_ROWS));
  } else if (long < TABLET_BELOW_PX) {
    size = Math.min(inColumns(long, TABLET_COLUMNS), inRows(short, TABLET_ROWS));
  } else {
    size = Math.min(inColumns(long, LAPTOP_COLUMNS), inRows(short, LAPTOP_ROWS));
  }
  return Math.floor(10 * Math.max(size, ROW_LEAST_PX / LINE)) / 10;
}

// Return the columns and rows that will about fit; the emulator measures them exactly later.
export function likelySize(width, height, scale) {
  const size = fontSize(width, height, scale);
  const cell = Math.floor(size * LETTER * scale) / scale, row = Math.ceil(size * LINE * scale) / scale;
  return { width: Math.floor(width / cell), height: Math.floor(height / row) };
}
