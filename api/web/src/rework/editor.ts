// One form for entries of one kind: add, edit, check while typing, save, and settle conflicts. What
// an entry is made of, and where it is kept, is the kind's own.
import { ProblemError, post, type Versioned, wordsOf } from "../client";
import { make, need, say } from "../frame";
import { FieldError, Fields, type Units, type Values } from "./fields";
import { showConflict } from "./conflict";

const CHECK_AFTER_MS = 350;

/** Where entries of a kind are kept. `id` is the service's. */
export interface Keeper<T> {
  load(id: string): Promise<Versioned<T>>;
  add(part: T): Promise<void>;
  change(id: string, etag: string, part: T): Promise<void>;
  /** Address that says what is wrong with a part and what it would mean. */
  checkAt?: string;
}

export interface Kind<T> {
  name: string;
  words: string;
  toValues(part: T): Values;
  toPart(values: Values, carried: T | null): T;
  /** What a new one starts with. */
  fresh(): Values;
  /** After the form was filled or anything was typed. */
  follow(part: T | null, begun: boolean): void;
}

interface Fault {
  path: string;
  message: string;
}

interface Said {
  faults: Fault[];
  doubts: string[];
  facts: string[];
}

type Part = { id: string };

export class Editor<T extends Part> {
  readonly form: HTMLFormElement;
  readonly fields: Fields;
  private editing: { id: string; etag: string; part: T } | null = null;
  private dirty = false;
  private asked = 0;
  private timer = 0;
  /** Set by the page: after something was saved, and when the form closes. */
  onSaved: (words: string) => void = () => undefined;
  onClosed: () => void = () => undefined;

  constructor(
    private readonly kind: Kind<T>,
    private readonly keeper: Keeper<T>,
    units: Units,
  ) {
    this.form = need<HTMLFormElement>(`#${kind.name}-form`);
    this.fields = new Fields(this.form, units);
    this.form.addEventListener("input", () => this.touched());
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      void this.save();
    });
    this.button("cancel").addEventListener("click", () => this.close());
    addEventListener("beforeunload", (event) => {
      if (this.dirty) event.preventDefault();
    });
  }

  get isDirty(): boolean {
    return this.dirty;
  }

  /** Open the form for a new entry, or with an entry that was read afresh, if it is still wanted then. */
  async open(id: string | null, wanted: () => boolean): Promise<void> {
    if (id === null) {
      this.begin(null, this.kind.fresh());
      return;
    }
    const { body, etag } = await this.keeper.load(id);
    if (wanted()) this.begin({ id, etag, part: body }, this.kind.toValues(body));
  }

  close(): void {
    this.form.hidden = true;
    this.dirty = false;
    this.onClosed();
  }

  /** Something changed by a click, not by typing. */
  touched(): void {
    this.dirty = true;
    this.kind.follow(this.editing?.part ?? null, false);
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => void this.check(), CHECK_AFTER_MS);
  }

  private begin(editing: { id: string; etag: string; part: T } | null, values: Values): void {
    this.editing = editing;
    // What is still said of the entry before belongs to that one.
    window.clearTimeout(this.timer);
    this.asked += 1;
    this.fields.fill(values);
    this.allowId(editing === null);
    need(`#${this.kind.name}-title`).textContent = editing ? `${this.kind.words}: ${editing.part.id}` : `New: ${this.kind.words.toLowerCase()}`;
    this.error("");
    this.conflict.replaceChildren();
    this.said.replaceChildren();
    this.form.hidden = false;
    this.dirty = false;
    this.kind.follow(editing?.part ?? null, true);
    this.form.scrollIntoView({ block: "start" });
    need<HTMLElement>(`#${this.kind.name}-title`).focus({ preventScroll: true });
    if (editing) void this.check();
  }

  private allowId(on: boolean): void {
    const field = this.fields.named("id") as HTMLInputElement;
    field.readOnly = !on;
  }

  private get said(): HTMLElement {
    return need<HTMLElement>('[data-part="said"]', this.form);
  }

  private get conflict(): HTMLElement {
    return need<HTMLElement>('[data-part="conflict"]', this.form);
  }

  private button(name: string): HTMLButtonElement {
    return need<HTMLButtonElement>(`[data-do="${name}"]`, this.form);
  }

  private error(words: string): void {
    say(need<HTMLElement>(":scope > .error", this.form), words);
  }

  private part(): T {
    return this.kind.toPart(this.fields.read(), this.editing?.part ?? null);
  }

  // While something is missing there is nothing to check; what is wrong is said, but nobody is pulled to it.
  private async check(): Promise<Said | null> {
    const request = (this.asked += 1);
    let part: T;
    try {
      part = this.part();
    } catch (error) {
      if (error instanceof FieldError) this.tell({ faults: [], doubts: [], facts: [error.missing ? `Still to come: ${error.message}` : error.message] });
      return null;
    }
    if (!this.keeper.checkAt) return null;
    try {
      const said = (await post<Said>(this.keeper.checkAt, part)).body;
      if (request === this.asked) this.tell(said);
      return said;
    } catch {
      // Saving says what is wrong with the connection.
      return null;
    }
  }

  private tell(said: Said): void {
    const list = (kind: string, title: string, words: string[]): HTMLElement[] =>
      words.length === 0 ? [] : [make("div", { class: `notice ${kind}` }, make("p", {}, make("strong", {}, title)), make("ul", {}, ...words.map((one) => make("li", {}, one))))];
    this.said.replaceChildren(
      ...list("problem", "This cannot be kept:", said.faults.map((one) => sentence(one))),
      ...list("warn", "Look again:", said.doubts),
      ...(said.facts.length > 0 ? [make("p", { class: "quiet" }, said.facts.join(" "))] : []),
    );
  }

  private async save(): Promise<void> {
    for (const field of this.fields.all()) field.removeAttribute("aria-invalid");
    this.error("");
    this.conflict.replaceChildren();
    window.clearTimeout(this.timer);
    const submit = need<HTMLButtonElement>("button.main", this.form);
    submit.disabled = true;
    try {
      const part = this.part();
      const said = await this.check();
      const fault = said?.faults[0];
      if (fault) {
        this.pointAt(fault.path);
        this.error(sentence(fault));
        return;
      }
      await this.send(part);
    } catch (error) {
      await this.explain(error);
    } finally {
      submit.disabled = false;
    }
  }

  private async send(part: T): Promise<void> {
    if (this.editing) await this.keeper.change(this.editing.id, this.editing.etag, part);
    else await this.keeper.add(part);
    const words = this.editing ? `${part.id} is changed.` : `${part.id} is on record.`;
    this.close();
    this.onSaved(words);
  }

  private async explain(error: unknown): Promise<void> {
    if (error instanceof ProblemError && error.isStale && this.editing) {
      await this.askWhose(this.editing.id);
      return;
    }
    if (error instanceof ProblemError && error.status === 410) {
      this.editing = null;
      this.allowId(true);
      this.error(`${error.message} To keep what stands here, save it as a new entry.`);
      return;
    }
    if (error instanceof FieldError) this.point(error.field);
    else if (error instanceof ProblemError) this.pointAt(error.problem.errors?.[0]?.path ?? "");
    this.error(error instanceof FieldError ? error.message : wordsOf(error));
  }

  private async askWhose(id: string): Promise<void> {
    try {
      const { body, etag } = await this.keeper.load(id);
      showConflict(this.conflict, body.id, this.part(), body, {
        mine: () => {
          this.editing = { id, etag, part: body };
          void this.save();
        },
        theirs: () => this.begin({ id, etag, part: body }, this.kind.toValues(body)),
      });
    } catch (error) {
      await this.explain(error);
    }
  }

  private point(field: HTMLElement): void {
    field.setAttribute("aria-invalid", "true");
    field.focus();
  }

  // The service names a fault as body.depth.value or body.footprint.Circle.radius.
  private pointAt(path: string): void {
    const name = path.replace(/^body\./, "");
    const shape = { "footprint": "shape", "at": "station" }[name.split(".")[0] ?? ""] ?? name;
    const found = this.fields.all().find((field) => !field.matches(":disabled") && field.dataset["name"] === shape);
    if (found) this.point(found);
  }
}

function sentence({ path, message }: Fault): string {
  const name = path.replace(/^body\.?/, "").replaceAll("_", " ").replaceAll(".", ", ");
  return name && !message.includes(name) ? `${name}: ${message}` : message;
}
