// What a person decided about proposed outlines, on its way to the service. A decision is kept on this device
// until the service has it, so that neither a lost connection nor a reload loses one; an accepted outline is
// told only once its mark is saved, because the service asks which mark it became.
import { OfflineError, post, ProblemError, wordsOf } from "../client";
import type { Mark, Proposal, Suggested } from "./types";

const RETRY_MS = 5000;

/** The mark that an accepted outline became: by its name, or by its note where it was renamed meanwhile. */
interface Became {
  mark: string;
  note: string;
  edited: boolean;
}

interface Waiting {
  id: string;
  name: string;
  /** Null: dropped. */
  became: Became | null;
}

const key = (photo: string): string => `corrosion.decisions.${photo}`;

export class Decisions {
  private waiting: Waiting[];
  private readonly made: Set<string>;
  private sending: Promise<void> | undefined;
  private timer: number | undefined;
  /** Set by the page: says something once. */
  say: (words: string) => void = () => undefined;
  /** Set by the page: the list is not what it was thought to be. */
  onRefused: () => void = () => undefined;

  constructor(
    private readonly photo: string,
    /** The marks that the service has. */
    private readonly saved: () => readonly Mark[],
  ) {
    this.waiting = readWaiting(photo);
    this.made = new Set(this.waiting.map((one) => one.id));
    window.addEventListener("online", () => void this.send());
  }

  /** Whether a person decided about it here, even if the service does not know yet. */
  has(id: string): boolean {
    return this.made.has(id);
  }

  drop(one: Suggested): void {
    this.add({ id: one.stored, name: one.id, became: null });
  }

  accept(one: Suggested, mark: Mark, edited: boolean): void {
    this.add({ id: one.stored, name: one.id, became: { mark: mark.id, note: mark.note ?? "", edited } });
  }

  /** Forget what an earlier visit accepted if its mark is not there any more: it was taken back before it was saved. */
  forgetUndone(marks: readonly Mark[]): void {
    for (const one of this.waiting) if (one.became && !markOf(one.became, marks)) this.forget(one, true);
    this.keep();
  }

  /** Tell the service what can be told by now. */
  send(): Promise<void> {
    this.sending ??= this.sendAll().finally(() => (this.sending = undefined));
    return this.sending;
  }

  private async sendAll(): Promise<void> {
    window.clearTimeout(this.timer);
    const tried = new Set<Waiting>();
    try {
      for (;;) {
        // Looked up anew each time: a person decides faster than the service answers.
        const one = this.waiting.find((other) => !tried.has(other));
        if (!one) return;
        tried.add(one);
        await this.tell(one);
      }
    } catch {
      this.timer = window.setTimeout(() => void this.send(), RETRY_MS);
    }
  }

  private add(one: Waiting): void {
    this.waiting = [...this.waiting, one];
    this.made.add(one.id);
    this.keep();
    void this.send();
  }

  /** Send one decision; throws what passes by itself, so that the rest waits too. */
  private async tell(one: Waiting): Promise<void> {
    const mark = one.became ? (markOf(one.became, this.saved()) ?? null) : null;
    if (one.became && !mark) return;
    const body = mark ? { mark: mark.id, edited: one.became?.edited } : {};
    try {
      const url = `/api/proposals/${one.id}/${mark ? "accept" : "drop"}`;
      this.meet(one, mark, (await post<Proposal>(url, body)).body);
      this.forget(one, false);
    } catch (error) {
      if (error instanceof OfflineError) throw error;
      if (error instanceof ProblemError && (error.status >= 500 || error.status === 401)) throw error;
      this.forget(one, true);
      this.say(`What you decided about suggestion ${one.name} was not stored. ${wordsOf(error)}`);
      this.onRefused();
    } finally {
      this.keep();
    }
  }

  /** Two people decided about the same outline: nothing is lost, but one of two equal marks has to go. */
  private meet(one: Waiting, mine: Mark | null, stands: Proposal): void {
    const theirs = stands.decision?.mark;
    if (stands.state !== "accepted" || !theirs || theirs === mine?.id) return;
    const by = `Suggestion ${one.name} was accepted by ${stands.decision?.by} before, as mark ${theirs}.`;
    this.say(mine ? `${by} Your ${mine.id} outlines the same: delete one of the two.` : by);
  }

  private forget(one: Waiting, undecided: boolean): void {
    this.waiting = this.waiting.filter((other) => other !== one);
    if (undecided) this.made.delete(one.id);
  }

  private keep(): void {
    try {
      if (this.waiting.length === 0) localStorage.removeItem(key(this.photo));
      else localStorage.setItem(key(this.photo), JSON.stringify(this.waiting));
    } catch {
      // At worst the suggestion is asked about once more.
    }
  }
}

function markOf(became: Became, marks: readonly Mark[]): Mark | undefined {
  const noted = marks.filter((mark) => became.note !== "" && mark.note === became.note);
  return noted.find((mark) => mark.id === became.mark) ?? noted[0] ?? marks.find((mark) => mark.id === became.mark);
}

function readWaiting(photo: string): Waiting[] {
  try {
    const kept: unknown = JSON.parse(localStorage.getItem(key(photo)) ?? "[]");
    return Array.isArray(kept) ? kept.filter((one: Waiting) => typeof one?.id === "string") : [];
  } catch {
    return [];
  }
}
