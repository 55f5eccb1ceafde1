// The findings table: sort by any column, filter, keep both in the address.
import { count, filtersOf, frame, fromAddress, keepInAddress, loadLater, maybe, need } from "../frame";

frame();
start();
void loadLater(start);

function start(): void {
  const table = maybe<HTMLTableElement>("#findings");
  if (table) setUp(table);
}

function setUp(table: HTMLTableElement): void {
  const body = need<HTMLTableSectionElement>("tbody", table);
  const heads = [...table.querySelectorAll<HTMLTableCellElement>("thead th")];
  for (const [column, head] of heads.entries()) {
    head.querySelector("button")?.addEventListener("click", () => {
      const up = head.getAttribute("aria-sort") !== "ascending";
      for (const other of heads) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      sort(body, column, up, head.classList.contains("number"));
    });
  }
  const form = need<HTMLFormElement>("#filters");
  fromAddress(form);
  form.addEventListener("input", () => filter(form, body));
  form.addEventListener("submit", (event) => event.preventDefault());
  filter(form, body);
}

function keyOf(row: HTMLTableRowElement, column: number): string {
  const cell = row.cells[column];
  return cell?.dataset.sort ?? cell?.textContent?.trim() ?? "";
}

// Cells without a value stay last whichever way: they are missing, not smallest.
function sort(body: HTMLTableSectionElement, column: number, up: boolean, asNumbers: boolean): void {
  const words = new Intl.Collator("en", { numeric: true });
  const rows = [...body.rows];
  rows.sort((a, b) => {
    const [left, right] = [keyOf(a, column), keyOf(b, column)];
    const gap = Number(left === "" || left === "-") - Number(right === "" || right === "-");
    if (gap !== 0) return gap;
    const order = asNumbers ? Number(left) - Number(right) : words.compare(left, right);
    return up ? order : -order;
  });
  body.append(...rows);
}

function filter(form: HTMLFormElement, body: HTMLTableSectionElement): void {
  const wanted = filtersOf(form);
  let visible = 0;
  for (const row of body.rows) {
    const fits = ["member", "zone", "face", "kind", "verdict"].every(
      (name) => !wanted[name] || row.dataset[name] === wanted[name],
    );
    const matches = fits && (row.textContent ?? "").toLowerCase().includes(wanted.text ?? "");
    row.hidden = !matches;
    visible += Number(matches);
  }
  keepInAddress(wanted);
  need<HTMLElement>("#none-match").hidden = visible > 0;
  need<HTMLElement>("#shown").textContent =
    visible === body.rows.length ? count(visible, "finding") : `${visible} of ${count(body.rows.length, "finding")} shown`;
}
