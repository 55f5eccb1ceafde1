// Outlines that the program proposes. They are no marks: a person accepts, edits or drops each. The service keeps
// them until then, so that they are there on every device.
import { getJson, post, ProblemError, wordsOf } from "../client";
import type { Px } from "../geometry";
import { fixed } from "../units";
import { Decisions } from "./decisions";
import type { Store } from "./store";
import { LOOKS } from "./styles";
import type { Mark, Proposal, Proposals, Suggested } from "./types";

// A sweep of a large picture takes a while on a small machine.
const SWEEP_MS = 180_000;

/** What goes into a mark's note, so that anybody can see where its outline came from. */
export function noteOf(one: Suggested, edited: boolean): string {
  const parameters = Object.entries(one.parameters).map(([name, value]) => `${name} ${plain(value)}`);
  const taken = edited ? "accepted to be edited" : "accepted as proposed";
  return `Outline suggested by ${one.method}, score ${fixed(one.score, 2)}, ${taken}. ${parameters.join(", ")}.`;
}

const plain = (value: number | string): string =>
  typeof value === "number" ? String(Number(value.toPrecision(6))) : value;

export class Suggestions {
  list: Suggested[] = [];
  current: string | null = null;
  busy = false;
  said = "";
  private turn = 0;
  /** Set by the page: what has to be seen or said. */
  onShow: (one: Suggested) => void = () => undefined;
  onAnswer: () => void = () => undefined;

  readonly decisions: Decisions;
  private readonly url: string;

  constructor(
    photo: string,
    private readonly store: Store,
    /** The marks that the service has. */
    saved: () => readonly Mark[],
  ) {
    this.url = `/api/photos/${photo}`;
    this.decisions = new Decisions(photo, saved);
    this.decisions.onRefused = () => void this.load();
    store.onChange((change) => {
      if (change === "sync" || change === "measures") void this.decisions.send();
    });
  }

  /** Begin, once unsaved work of an earlier visit is back. On a sealed survey nothing is open to decide. */
  open(): void {
    if (this.store.sealed) return;
    this.decisions.forgetUndone(this.store.doc.marks);
    void this.decisions.send();
    void this.load();
  }

  /**
   * Read what is open: asked for here or elsewhere, and not decided by anybody yet. Again whenever somebody else
   * turns out to have worked on the photo, for they may have decided too.
   */
  async load(): Promise<void> {
    const before = new Set(this.list.map((one) => one.stored));
    try {
      const open = await getJson<Proposal[]>(`${this.url}/proposals`);
      // What a search brought in meanwhile is not in the answer.
      this.list = this.list.filter((one) => !before.has(one.stored));
      this.add(open);
    } catch {
      window.addEventListener("online", () => void this.load(), { once: true });
    }
  }

  /** Propose what lies at a point. */
  at(kind: Proposal["kind"], at: Px): Promise<void> {
    const none = `No edge of a ${LOOKS[kind].words.toLowerCase()} was found there.`;
    return this.ask("suggest", { kind, at }, none);
  }

  /** Propose every pit of a region, or of the whole picture. */
  sweep(region: Px[] | null): Promise<void> {
    const none =
      "The sweep found no pit that is not marked yet. That does not show the metal is clean: look yourself, above all under corrosion product.";
    return this.ask("sweep", { region }, none);
  }

  private async ask(way: "suggest" | "sweep", body: unknown, none: string): Promise<void> {
    this.turn += 1;
    const turn = this.turn;
    this.busy = true;
    this.said = "";
    this.tell();
    try {
      // Otherwise what was just dropped would still be open there, and be the answer.
      await this.decisions.send();
      const found = (await post<Proposals>(`${this.url}/${way}`, body, SWEEP_MS)).body;
      // The service keeps them even if nobody waits any more.
      this.add(found.proposals);
      if (turn !== this.turn) return;
      this.said = saidOf(found, way, none);
      const first = found.proposals.find((one) => this.list.some((other) => other.stored === one.id));
      if (first) this.current = first.name;
    } catch (error) {
      if (turn !== this.turn) return;
      // Only a search that was made can say that it found nothing.
      const searched = error instanceof ProblemError && error.status === 422;
      this.said = searched ? `${none} ${wordsOf(error)}` : wordsOf(error);
    }
    this.busy = false;
    this.tell();
    this.onAnswer();
  }

  /** Take in open proposals that nobody has decided about here, in the order of their names. */
  private add(open: readonly Proposal[]): void {
    const known = new Set(this.list.map((one) => one.stored));
    const fresh = open.filter((one) => !known.has(one.id) && !this.decisions.has(one.id)).map(suggestedOf);
    this.list = [...this.list, ...fresh].sort((one, other) => numberOf(one) - numberOf(other));
    if (!this.chosen) this.current = this.list[0]?.id ?? null;
    this.tell();
  }

  get chosen(): Suggested | undefined {
    return this.list.find((one) => one.id === this.current);
  }

  pick(id: string): void {
    this.current = id;
    this.tell();
    const { chosen } = this;
    if (chosen) this.onShow(chosen);
  }

  /** Go to the next or previous proposal. */
  step(by: number): void {
    const at = this.list.findIndex((one) => one.id === this.current);
    const next = this.list[(Math.max(at, 0) + (at < 0 ? 0 : by) + this.list.length) % this.list.length];
    if (next) this.pick(next.id);
  }

  /** Make a proposal a mark; with `edit` it is selected, ready to be reshaped. */
  accept(id: string, edit = false): void {
    const one = this.list.find((other) => other.id === id);
    if (!one) return;
    this.remove(id);
    this.acceptThese([one], edit);
  }

  /** Make all proposals marks, as one step. */
  acceptAll(): void {
    const all = this.list;
    this.clear();
    this.acceptThese(all, false);
  }

  private acceptThese(these: readonly Suggested[], edit: boolean): void {
    const made = this.store.addSuggested(these.map((one) => asMark(one, edit)), edit);
    made.forEach((mark, i) => this.decisions.accept(these[i] as Suggested, mark, edit));
  }

  drop(id: string): void {
    const one = this.list.find((other) => other.id === id);
    if (!one) return;
    this.decisions.drop(one);
    this.remove(id);
  }

  dropAll(): void {
    for (const one of this.list) this.decisions.drop(one);
    this.clear();
  }

  private clear(): void {
    this.list = [];
    this.current = null;
    this.tell();
  }

  /** Give up waiting for an answer. */
  stop(): void {
    this.turn += 1;
    this.busy = false;
    this.tell();
  }

  private remove(id: string): void {
    const at = this.list.findIndex((one) => one.id === id);
    if (at < 0) return;
    this.list = this.list.filter((one) => one.id !== id);
    if (this.current === id) this.current = (this.list[at] ?? this.list[at - 1])?.id ?? null;
    this.tell();
    this.onAnswer();
  }

  private tell(): void {
    this.store.tell("found");
  }
}

const asMark = (one: Suggested, edited: boolean): Omit<Mark, "id"> => ({
  kind: one.kind,
  shape: one.shape,
  u_edge_px: one.u_edge_px,
  note: noteOf(one, edited),
});

const suggestedOf = (one: Proposal): Suggested => ({
  id: one.name,
  stored: one.id,
  kind: one.kind,
  shape: one.shape,
  method: one.method,
  parameters: one.parameters,
  score: one.score,
  u_edge_px: one.u_edge_px,
});

const numberOf = (one: Suggested): number => Number(one.id.replace(/\D+/g, ""));

/** What has to be said about an answer beside what it shows. */
function saidOf(found: Proposals, way: "suggest" | "sweep", none: string): string {
  const { proposals, open_before: open, dropped_before: dropped } = found;
  const said: string[] = [];
  if (proposals.length === 0) said.push(none);
  else if (way === "sweep" && open >= proposals.length) said.push("The sweep found nothing new: all it found is in the list already.");
  if (dropped > 0) {
    const words = dropped === 1 ? "One outline that was dropped before is" : `${dropped} outlines that were dropped before are`;
    said.push(`${words} left out. To get one again, suggest a pit there.`);
  }
  return said.join(" ");
}
