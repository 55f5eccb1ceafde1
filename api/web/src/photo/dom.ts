// Small helpers to build the page's elements. Text goes in as text, never as markup.

type Child = Node | string | null | undefined | false;
type Attributes = Record<string, string | number | boolean | null | undefined | EventListener>;

/** Make an element; `on...` attributes are listeners, false and null leave an attribute out. */
export function h<K extends keyof HTMLElementTagNameMap>(
  tag: K,
  attributes: Attributes = {},
  ...children: Child[]
): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (typeof value === "function") element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : String(value));
  }
  element.append(...children.filter((child): child is Node | string => Boolean(child)));
  return element;
}

/** The element of an id that the template promises. */
export function byId<T extends HTMLElement = HTMLElement>(id: string): T {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no #${id}`);
  return found as T;
}

export function button(text: string, onclick: () => void, attributes: Attributes = {}): HTMLButtonElement {
  return h("button", { type: "button", onclick: () => onclick(), ...attributes }, text);
}

let counter = 0;

/** A labelled field with an optional line of help under the label. */
export function field(label: string, control: HTMLElement, help = "", attributes: Attributes = {}): HTMLElement {
  counter += 1;
  control.id ||= `field-${counter}`;
  const helpId = `${control.id}-help`;
  if (help) control.setAttribute("aria-describedby", helpId);
  return h(
    "div",
    { class: "field", ...attributes },
    h("label", { for: control.id }, label),
    help && h("span", { class: "help", id: helpId }, help),
    control,
  );
}

export function select(
  options: readonly (readonly [string, string])[],
  value: string,
  onchange: (value: string) => void,
): HTMLSelectElement {
  const made = h(
    "select",
    { onchange: () => onchange(made.value) },
    ...options.map(([key, words]) => h("option", { value: key }, words)),
  );
  made.value = value;
  return made;
}

/** Replace the children of an element; the control of the same key keeps the focus and what is chosen in it. */
export function fill(host: HTMLElement, ...children: Child[]): void {
  const active = document.activeElement;
  const key = active && host.contains(active) ? active.getAttribute("data-key") : null;
  const text = active instanceof HTMLInputElement && active.type === "text" ? active : null;
  const caret: [number | null, number | null] | null = text && [text.selectionStart, text.selectionEnd];
  const scroll = host.scrollTop;
  host.replaceChildren(...children.filter((child): child is Node | string => Boolean(child)));
  host.scrollTop = scroll;
  if (!key) return;
  const again = host.querySelector<HTMLElement>(`[data-key="${CSS.escape(key)}"]`);
  again?.focus({ preventScroll: true });
  // All of a field is chosen by tabbing into it: what is typed next has to replace it.
  if (caret && again instanceof HTMLInputElement) again.setSelectionRange(...caret);
}

/** Make a folding box that stays as it was left, however often it is drawn anew. */
export function folding(
  open: boolean,
  keep: (open: boolean) => void,
  attributes: Attributes,
  summary: HTMLElement,
  ...children: Child[]
): HTMLDetailsElement {
  const made = h("details", attributes, summary, ...children);
  made.open = open;
  // At the click: "toggle" comes late, and a panel drawn anew before it would fold the box up again.
  summary.addEventListener("click", () => keep(!made.open));
  made.addEventListener("toggle", () => {
    if (made.isConnected) keep(made.open);
  });
  return made;
}

let pointerDown = false;
const waiting = new Set<() => void>();

// Text that was typed but not taken yet would be lost with its field. Fields marked `data-form` keep
// what is typed elsewhere.
function typing(): boolean {
  const active = document.activeElement;
  return (
    active instanceof HTMLInputElement &&
    active.type === "text" &&
    !active.hasAttribute("data-form") &&
    active.value !== active.defaultValue
  );
}

function flush(): void {
  if (pointerDown || typing()) return;
  const now = [...waiting];
  waiting.clear();
  for (const render of now) render();
}

window.addEventListener("pointerdown", () => (pointerDown = true), true);
// After the click that a pointerup leads to: a button replaced in between would never get it.
for (const end of ["pointerup", "pointercancel"]) {
  window.addEventListener(
    end,
    () => {
      pointerDown = false;
      window.setTimeout(flush, 0);
    },
    true,
  );
}
for (const end of ["change", "focusout"]) window.addEventListener(end, () => window.setTimeout(flush, 0), true);

/** Draw a panel again soon: never between a press and its click, never under someone's typing. */
export function soon(render: () => void): void {
  if (waiting.has(render)) return;
  waiting.add(render);
  window.setTimeout(flush, 0);
}

/** The button that had the focus went while it worked: go on with the one that takes its place. */
export function refocus(selector: string): void {
  window.setTimeout(() => {
    if (document.activeElement === document.body) byId("panel").querySelector<HTMLElement>(selector)?.focus();
  }, 30);
}
