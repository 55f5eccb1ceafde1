// The work list: steps are ticked off with name and time, and the cards follow.
import { post, wordsOf } from "../client";
import { cueWide, frame, loadLater, need, say, surveyId } from "../frame";
import { showWhere } from "../planning/nav";
import "../planning/planning.css";

const NAME_KEY = "bench-name";

class Bench {
  private readonly dialog = need<HTMLDialogElement>("#tick");
  private readonly form = need<HTMLFormElement>("form", this.dialog);
  private readonly who = need<HTMLInputElement>("#tick-who");
  private readonly when = need<HTMLInputElement>("#tick-when");
  private readonly note = need<HTMLInputElement>("#tick-note");
  private readonly error = need<HTMLElement>(".error", this.dialog);
  private asked: { card: string; what: string } | null = null;
  private turn = 0;

  constructor() {
    need("#results").addEventListener("click", (event) => this.clicked(event.target as Element));
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      void this.send();
    });
    need('[data-do="cancel"]', this.dialog).addEventListener("click", () => this.dialog.close());
  }

  private clicked(target: Element): void {
    const button = target.closest<HTMLButtonElement>("button[data-tick], button[data-do]");
    const card = button?.closest<HTMLElement>("[data-card]");
    if (!button || !card) return;
    if (button.dataset["do"] === "keep") void this.keep(card.dataset["card"] ?? "", button);
    else this.ask(card, button.dataset["tick"] ?? "");
  }

  private ask(card: HTMLElement, what: string): void {
    const title = card.querySelector("h2 > span")?.textContent ?? "";
    const own = what === "note" || what === "stopped";
    this.asked = { card: card.dataset["card"] ?? "", what };
    need("#tick-title").textContent = what === "note" ? `Note on ${title}` : what === "stopped" ? `Work stopped on ${title}` : `Tick off “${what}” on ${title}`;
    need("#tick-what").textContent = own ? "It stays on the card's log." : "The log only grows: a tick is not taken back, but set right with a note.";
    need("#tick-do").textContent = own ? "Log it" : "Tick off";
    this.who.value = localStorage.getItem(NAME_KEY) ?? "";
    this.when.value = localNow();
    this.note.value = "";
    say(this.error, "");
    this.dialog.showModal();
    (this.who.value ? (own ? this.note : need<HTMLElement>("#tick-do")) : this.who).focus();
  }

  private async send(): Promise<void> {
    const { card, what } = this.asked ?? { card: "", what: "" };
    const who = this.who.value.trim();
    const at = new Date(this.when.value);
    if (who === "") return this.fault(this.who, "Write your name: a tick without one tells nobody anything.");
    if (Number.isNaN(at.getTime())) return this.fault(this.when, "Say when.");
    if (what === "note" && this.note.value.trim() === "") return this.fault(this.note, "Write the note.");
    const submit = need<HTMLButtonElement>("#tick-do");
    submit.disabled = true;
    try {
      await post(`/api/surveys/${surveyId()}/worklist/${encodeURIComponent(card)}/ticks`, {
        who, what, when: at.toISOString(), note: this.note.value.trim(),
      });
      localStorage.setItem(NAME_KEY, who);
      this.dialog.close();
      await this.refresh(`Logged: ${what}, ${who}.`);
      this.focusOn(card);
    } catch (error) {
      say(this.error, wordsOf(error));
    } finally {
      submit.disabled = false;
    }
  }

  private fault(field: HTMLInputElement, words: string): void {
    say(this.error, words);
    field.focus();
  }

  private async keep(card: string, button: HTMLButtonElement): Promise<void> {
    button.disabled = true;
    try {
      await post(`/api/surveys/${surveyId()}/worklist/${encodeURIComponent(card)}/keep`, {});
      await this.refresh("The plan is kept; the finished blend-out will be held against it.");
      this.focusOn(card);
    } catch (error) {
      need("#page-said").textContent = wordsOf(error);
      button.disabled = false;
    }
  }

  // Whoever ticks with the keyboard goes on with the next step of the same card.
  private focusOn(card: string): void {
    const place = document.querySelector<HTMLElement>(`[data-card="${CSS.escape(card)}"]`);
    place?.querySelector<HTMLElement>("button")?.focus({ preventScroll: true });
  }

  private async refresh(words: string): Promise<void> {
    const results = need<HTMLElement>("#results");
    const turn = ++this.turn;
    const answer = await fetch(`/surveys/${surveyId()}/worklist/cards`, { headers: { Accept: "text/html" } });
    const text = await answer.text();
    // A later list is on its way.
    if (turn !== this.turn) return;
    if (answer.ok) {
      const parsed = new DOMParser().parseFromString(text, "text/html");
      results.replaceChildren(...[...parsed.body.childNodes].map((node) => document.importNode(node, true)));
      cueWide();
      localTimes();
    }
    need("#page-said").textContent = answer.ok ? words : `${words} Load the page again to see it.`;
  }
}

function localNow(): string {
  const now = new Date();
  return new Date(now.getTime() - now.getTimezoneOffset() * 60_000).toISOString().slice(0, 16);
}

// The service writes UTC; a shop reads its own clock.
function localTimes(): void {
  for (const time of document.querySelectorAll<HTMLTimeElement>(".ticks time")) {
    const at = new Date(time.dateTime);
    if (!Number.isNaN(at.getTime())) time.textContent = at.toLocaleString("sv-SE", { dateStyle: "short", timeStyle: "short", timeZoneName: undefined });
  }
}

frame();
showWhere();
new Bench();
localTimes();
void loadLater(localTimes);
