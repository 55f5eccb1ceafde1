// What every list page does: keep closed hints closed, close menus, filter a list, put words on a form.

const YEAR_SECONDS = 31_536_000;

/** Set up what the base template brings. Every page's script calls it first. */
export function frame(): void {
  for (const hint of document.querySelectorAll<HTMLDetailsElement>("details.hint[data-hint]")) {
    // At the click, before it opens or closes: "toggle" comes too late for who leaves the page at once.
    hint.querySelector("summary")?.addEventListener("click", () => keepHint(hint.dataset.hint ?? "", !hint.open));
  }
  cueWide();
  document.addEventListener("click", (event) => {
    for (const menu of document.querySelectorAll<HTMLDetailsElement>("details.menu[open]")) {
      if (!menu.contains(event.target as Node)) menu.open = false;
    }
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    for (const menu of document.querySelectorAll<HTMLDetailsElement>("details.menu[open]")) {
      menu.open = false;
      menu.querySelector("summary")?.focus();
    }
  });
}

/** Say of each table that is wider than its box that there is more to the right. */
export function cueWide(): void {
  const look = new ResizeObserver((entries) => {
    for (const { target } of entries) {
      const box = target instanceof HTMLTableElement ? target.parentElement : target;
      box?.toggleAttribute("data-wide", box.scrollWidth > box.clientWidth + 1);
    }
  });
  for (const box of document.querySelectorAll(".scroll")) {
    look.observe(box);
    for (const table of box.querySelectorAll(":scope > table")) look.observe(table);
  }
}

// The server reads this cookie, so that a closed hint does not flash open while a page loads.
function keepHint(name: string, open: boolean): void {
  const kept = /(?:^|; )hints=([^;]*)/.exec(document.cookie)?.[1] ?? "";
  const names = new Set(kept.split(".").filter(Boolean));
  if (open) names.delete(name);
  else names.add(name);
  document.cookie = `hints=${[...names].join(".")}; path=/; max-age=${YEAR_SECONDS}; samesite=lax`;
}

/** Fetch the parts of a page that take long to work out; `done` hears of each that is in place. */
export async function loadLater(done: () => void = () => undefined): Promise<void> {
  for (const place of document.querySelectorAll<HTMLElement>("[data-load]")) {
    try {
      const answer = await fetch(place.dataset.load ?? "", { headers: { Accept: "text/html" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const parsed = new DOMParser().parseFromString(await answer.text(), "text/html");
      place.replaceWith(...[...parsed.body.childNodes].map((node) => document.importNode(node, true)));
      cueWide();
      done();
    } catch {
      const again = make("button", { type: "button" }, "Try again");
      again.addEventListener("click", () => location.reload());
      place.replaceChildren(make("p", { class: "error" }, "This could not be worked out or fetched."), again);
    }
  }
}

/** The one element that a selector names; a page without it is a mistake of ours. */
export function need<T extends Element>(selector: string, within: ParentNode = document): T {
  const found = within.querySelector<T>(selector);
  if (found === null) throw new Error(`the page has no ${selector}`);
  return found;
}

/** The one element that a selector names, if it is there. */
export function maybe<T extends Element>(selector: string, within: ParentNode = document): T | null {
  return within.querySelector<T>(selector);
}

/** Make an element: attributes as given, children appended; text is never read as markup. */
export function make<K extends keyof HTMLElementTagNameMap>(
  tag: K,
  attributes: Record<string, string> = {},
  ...children: (Node | string)[]
): HTMLElementTagNameMap[K] {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

/** The survey this page belongs to. */
export function surveyId(): string {
  return document.body.dataset.survey ?? "";
}

/** Show (or take away) the words of a form's error line. */
export function say(line: HTMLElement, words: string): void {
  line.textContent = words;
  line.hidden = words === "";
}

/** "1 photo", "3 photos". */
export function count(number: number, one: string, many = `${one}s`): string {
  return `${number} ${number === 1 ? one : many}`;
}

export type Filters = Record<string, string>;

/** Read the fields of a filter form, trimmed and in lower case where they are free text. */
export function filtersOf(form: HTMLFormElement): Filters {
  const filters: Filters = {};
  for (const [name, value] of new FormData(form)) filters[name] = String(value).trim();
  filters.text = (filters.text ?? "").toLowerCase();
  return filters;
}

/** Keep a filter form's choices in the address, so that a reload or a link shows the same. */
export function keepInAddress(filters: Filters): void {
  const address = new URL(location.href);
  for (const [name, value] of Object.entries(filters)) {
    if (value) address.searchParams.set(name, value);
    else address.searchParams.delete(name);
  }
  history.replaceState(null, "", address);
}

/** Fill a filter form from the address. */
export function fromAddress(form: HTMLFormElement): void {
  for (const [name, value] of new URL(location.href).searchParams) {
    const field = form.elements.namedItem(name);
    if (field instanceof HTMLInputElement || field instanceof HTMLSelectElement) field.value = value;
  }
}
