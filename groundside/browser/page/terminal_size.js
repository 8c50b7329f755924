// The size of the terminal's letters. It depends only on the longer and the shorter side of the
// page, so that turning a phone keeps its letters and changes only rows and columns.

// Metrics of the font as shares of its size: advance, ascent and descent from its `hhea` table.
const LETTER = 1229 / 2048, ASCENT = 2146 / 2048, DESCENT = 555 / 2048;

// What must fit. For a phone, the columns hold upright and the rows on its side; for the others, both
// hold on their side. 18 rows leave 21 px for each on a common phone: buttons of three rows are then
// larger than 44 px (WCAG 2.2, 2.5.5). From 110 columns and 34 rows there are panels.
const PHONE_BELOW_PX = 600, PHONE = { columns: 40, rows: 18 };
const TABLET_BELOW_PX = 1100, TABLET = { columns: 80, rows: 24 };
const LAPTOP = { columns: 120, rows: 40 };
const ROW_LEAST_PX = 15; // three rows are then 45 px
const SMALLEST_PX = 11, LARGEST_PX = 40, STEP_PX = 0.1;

// Return the width and height of a cell [CSS px]: whole device pixels, as the emulator rounds them.
export function cellSize(font, scale) {
  const height = Math.round(ASCENT * font) + Math.round(DESCENT * font);
  return [Math.floor(LETTER * font * scale) / scale, Math.ceil(height * scale) / scale];
}

// Return the font's size [CSS px] for a page size [CSS px] and the device pixels per CSS pixel.
export function fontSize(width, height, scale) {
  const long = Math.max(width, height), short = Math.min(width, height);
  const isPhone = short < PHONE_BELOW_PX;
  const { columns, rows } = isPhone ? PHONE : long < TABLET_BELOW_PX ? TABLET : LAPTOP;
  for (let tenths = LARGEST_PX / STEP_PX; tenths > SMALLEST_PX / STEP_PX; tenths -= 1) {
    const [cell, row] = cellSize(tenths * STEP_PX, scale);
    const fits = cell * columns <= (isPhone ? short : long) && row * rows <= short;
    if (fits || row <= ROW_LEAST_PX) return Math.round(tenths) / 10;
  }
  return SMALLEST_PX;
}

// Return the columns and rows that will fit; the emulator measures them itself later.
export function likelySize(width, height, scale) {
  const [cell, row] = cellSize(fontSize(width, height, scale), scale);
  return { width: Math.floor(width / cell), height: Math.floor(height / row) };
}
