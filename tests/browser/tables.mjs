// The CSV tables beside a report, and how a page reads their cells.

import { readFileSync } from "node:fs";
import { join } from "node:path";
import { parse } from "csv-parse/sync";

/** Text cells that a spreadsheet would run as a formula bear an apostrophe in CSV, and none in a page. */
const plain = (cell) => (/^'[=+\-@\t\r\n＝＋－＠]/u.test(cell) ? cell.slice(1) : cell);

/** CSV keeps what acts on a terminal as an escape; a page has its own ways with it. */
const unescaped = (cell) => cell.replace(/\\u([0-9a-f]{4})/g, (_, hex) => String.fromCharCode(parseInt(hex, 16)));

/** Marks that open or close a direction are left out of a page's text. */
export const shown = (cell) => cell.replace(/[\u{202a}-\u{202e}\u{2066}-\u{2069}]/gu, "");

/** Characters that HTML forbids stand in a page as U+FFFD. */
const allowed = (cell) =>
  cell.replace(/[\p{Cc}\u{fdd0}-\u{fdef}\u{fffe}\u{ffff}]/gu, (c) => (c === "\n" || c === "\t" ? c : "\u{fffd}"));

export function table(folder, name) {
  const rows = parse(readFileSync(join(folder, `${name}.csv`), "utf8"), { columns: true, relax_column_count: false });
  return rows.map((row) =>
    Object.fromEntries(Object.entries(row).map(([column, cell]) => [column, allowed(unescaped(plain(cell)))])));
}

const two = (n) => String(n).padStart(2, "0");

function duration(seconds) {
  const total = Math.round(Math.abs(seconds) + 1e-9);
  const [hours, minutes, rest] = [Math.floor(total / 3600), Math.floor(total / 60) % 60, total % 60];
  const sign = seconds < 0 && total > 0 ? "−" : "";
  return sign + (hours > 0 ? `${hours}:${two(minutes)}:${two(rest)}` : `${minutes}:${two(rest)}`);
}

/** What a page must show for a cell of a column, rounding halves as `toFixed` and Rust do not agree on aside. */
export function reading(column, cell) {
  if (cell === "") return "–";
  const number = Number(cell);
  const rounded = Math.round(number);
  if (column === "longest_run_trend_s_per_week") return `${number >= 0.5 ? "+" : ""}${duration(number)} a week`;
  if (column.endsWith("_s_per_km")) return `${duration(number)}\u202f/km`;
  if (column.endsWith("_s")) return duration(number);
  if (column === "pace_drift_pct") return null;
  if (column.endsWith("_pct")) return Number.isInteger(number * 2) && !Number.isInteger(number) ? null : `${rounded}\u202f%`;
  if (column.endsWith("_m")) return number < 999.5 ? null : `${(number / 1000).toFixed(2)}\u202fkm`;
  return null;
}
