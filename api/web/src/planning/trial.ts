// Values are tried at once and kept on request: whatever is typed goes to the service, which answers with
// the page's results as they would be; nothing is stored before "Keep".
import { type Fault, OfflineError, ProblemError, type ProblemBody, wordsOf } from "../client";
import { cueWide, make, need } from "../frame";
import { showConflict } from "../rework/conflict";
import { FieldError } from "../rework/fields";
import type { Part } from "./parts";

const TRY_AFTER_MS = 350;

export class Trial {
  private readonly bar = need<HTMLElement>("#trial");
  private readonly actions = need<HTMLElement>("#trial-actions");
  private readonly dirty = new Set<Part>();
  private asked = 0;
  private touches = 0;
  private timer = 0;

  constructor(
    private readonly parts: Part[],
    private readonly results: HTMLElement,
    /** After new results are in place. */
    private readonly shown: () => void,
  ) {
    for (const part of parts) {
      part.form.form.addEventListener("input", () => this.touched(part));
    }
    need('[data-do="keep"]', this.actions).addEventListener("click", () => void this.keep());
    need('[data-do="let-go"]', this.actions).addEventListener("click", () => void this.letGo());
    addEventListener("beforeunload", (event) => {
      if (this.dirty.size > 0 && this.barred === "") event.preventDefault();
    });
  }

  /** Why what is tried cannot be kept; empty if it can. */
  private get barred(): string {
    if ("sealed" in document.body.dataset) return "The survey is sealed: this shows what would follow, and cannot be kept.";
    const roles = [...this.dirty].map((part) => part.form.form.dataset["lacks"] ?? "").filter(Boolean);
    return roles.length > 0 ? `You may try it; keeping it takes the role ${[...new Set(roles)].join(" and the role ")}.` : "";
  }

  /** Load what is kept into the forms; until it is there nothing can be typed over it. */
  async start(): Promise<void> {
    const fields = this.parts.map((part) => need<HTMLFieldSetElement>("fieldset[data-waits]", part.form.form));
    for (const one of fields) one.disabled = true;
    try {
      await Promise.all(this.parts.map((part) => part.load()));
      for (const one of fields) one.disabled = false;
    } catch (error) {
      this.faults([wordsOf(error)]);
    }
  }

  private touched(part: Part): void {
    this.dirty.add(part);
    this.touches += 1;
    this.actions.hidden = false;
    need<HTMLButtonElement>('[data-do="keep"]', this.actions).hidden = this.barred !== "";
    this.bar.classList.add("trying");
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => void this.tryNow(), TRY_AFTER_MS);
  }

  private say(words: string): void {
    need("#trial-said").textContent = words;
  }

  private faults(words: string[]): void {
    need("#trial-faults").replaceChildren(
      ...(words.length === 0 ? [] : [make("ul", { class: "error" }, ...words.map((one) => make("li", {}, one)))]));
  }

  private async tryNow(): Promise<void> {
    const request = (this.asked += 1);
    try {
      const body = Object.fromEntries([...this.dirty].map((part) => [part.name, part.trial()]));
      this.say("Working it out …");
      const text = await this.fetchText(this.bar.dataset["try"] ?? "", body);
      if (request !== this.asked) return;
      this.put(text);
      // A print or a screenshot of tried values must say that they are not what is kept.
      document.body.classList.add("tried");
      this.faults([]);
      this.say(`Tried out, not kept: the figures follow what stands here. ${this.barred}`.trim());
    } catch (error) {
      if (request === this.asked) this.explain(error, false);
    }
  }

  private explain(error: unknown, point: boolean): void {
    if (error instanceof FieldError) {
      error.field.setAttribute("aria-invalid", "true");
      if (point) {
        for (let at = error.field.closest("details"); at; at = at.parentElement?.closest("details") ?? null) at.open = true;
        error.field.focus();
      }
      this.say(error.missing && !point ? `Still to come: ${error.message}` : "Not tried: the figures are the last ones that could be.");
      this.faults(error.missing && !point ? [] : [error.message]);
      return;
    }
    this.say("Not tried: the figures are the last ones that could be.");
    this.faults(error instanceof ProblemError ? faultWords(error.problem, error.message) : [wordsOf(error)]);
  }

  private async keep(): Promise<void> {
    window.clearTimeout(this.timer);
    need("#trial-conflict").replaceChildren();
    for (const part of [...this.dirty]) {
      const before = this.touches;
      try {
        await part.keep();
        // What was typed while it was sent is not kept yet.
        if (this.touches === before) this.dirty.delete(part);
      } catch (error) {
        if (error instanceof ProblemError && error.isStale) await this.settle(part);
        else this.explain(error, true);
        return;
      }
    }
    if (this.dirty.size === 0) await this.showKept("Kept.");
  }

  private async settle(part: Part): Promise<void> {
    try {
      const { mine, theirs, take } = await part.compare();
      this.say("Nothing is kept yet.");
      showConflict(need("#trial-conflict"), part.words, mine, theirs, {
        mine: () => {
          take("mine");
          void this.keep();
        },
        theirs: () => {
          take("theirs");
          this.dirty.delete(part);
          need("#trial-conflict").replaceChildren();
          if (this.dirty.size > 0) void this.tryNow();
          else void this.showKept("Theirs stands.");
        },
      });
    } catch (error) {
      this.explain(error, true);
    }
  }

  private async letGo(): Promise<void> {
    need("#trial-conflict").replaceChildren();
    this.dirty.clear();
    // Afresh: what is kept may have changed meanwhile.
    await this.start();
    await this.showKept("");
  }

  private async showKept(words: string): Promise<void> {
    const request = (this.asked += 1);
    window.clearTimeout(this.timer);
    this.actions.hidden = true;
    this.bar.classList.remove("trying");
    try {
      const text = await this.fetchText(this.bar.dataset["table"] ?? "");
      if (request !== this.asked) return;
      this.put(text);
      document.body.classList.remove("tried");
      this.faults([]);
      this.say(`${words} The figures are those that are kept.`.trim());
    } catch (error) {
      this.say(`${words} The figures could not be fetched: ${wordsOf(error)}`.trim());
    }
  }

  private put(text: string): void {
    const open = new Set([...this.results.querySelectorAll<HTMLDetailsElement>("details[open][data-why]")].map((one) => one.dataset["why"]));
    const parsed = new DOMParser().parseFromString(text, "text/html");
    this.results.replaceChildren(...[...parsed.body.childNodes].map((node) => document.importNode(node, true)));
    for (const one of this.results.querySelectorAll<HTMLDetailsElement>("details[data-why]")) one.open = open.has(one.dataset["why"]);
    cueWide();
    this.shown();
  }

  private async fetchText(address: string, body?: unknown): Promise<string> {
    const sent: RequestInit = body === undefined ? {} : { method: "POST", body: JSON.stringify(body), headers: { "Content-Type": "application/json", Accept: "text/html" } };
    let answer: Response;
    try {
      answer = await fetch(address, { headers: { Accept: "text/html" }, ...sent });
    } catch {
      throw new OfflineError();
    }
    if (!answer.ok) throw new ProblemError(answer.status, await problemOf(answer));
    return answer.text();
  }
}

async function problemOf(answer: Response): Promise<ProblemBody> {
  try {
    return (await answer.json()) as ProblemBody;
  } catch {
    return {};
  }
}

/** The faults of a refusal in plain words, each with where it is. */
export function faultWords(problem: ProblemBody, otherwise: string): string[] {
  const faults = problem.errors ?? [];
  return faults.length === 0 ? [otherwise] : [...new Set(faults.map(sentence))];
}

function sentence({ path, message }: Fault): string {
  const steps = path.replace(/^body\.?/, "").split(".").filter(Boolean);
  const where = steps.map((step) => (/^\d+$/.test(step) ? `no. ${Number(step) + 1}` : step.replaceAll("_", " "))).join(", ");
  const said = message.replace(/^Value error, /, "");
  return where ? `${where}: ${said}` : said;
}
