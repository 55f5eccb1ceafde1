// Outlines that the program proposes. They are no marks: a person accepts, edits or drops each.
import { post, wordsOf } from "../client";
import type { Px } from "../geometry";
import { fixed } from "../units";
import type { Store } from "./store";
import { keepProposals, readProposals } from "./proposals";
import { LOOKS } from "./styles";
import type { Mark, Proposal } from "./types";

// A sweep of a large picture takes a while on a small machine.
const SWEEP_MS = 180_000;

export interface Suggested extends Proposal {
  /** Its name until it is a mark. */
  id: string;
}

/** What goes into a mark's note, so that anybody can see where its outline came from. */
export function noteOf(one: Proposal, edited: boolean): string {
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
  private count = 0;
  private turn = 0;
  /** Set by the page: what has to be seen or said. */
  onShow: (one: Suggested) => void = () => undefined;
  onAnswer: () => void = () => undefined;

  constructor(
    private readonly url: string,
    private readonly store: Store,
    /** Whose proposals they are: kept on this device until each is decided on, so that a reload loses none. */
    private readonly photo: string,
    private readonly picture: string,
  ) {
    this.list = readProposals(photo, picture);
    this.count = Math.max(0, ...this.list.map((one) => Number(one.id.slice(1)) || 0));
    this.current = this.list[0]?.id ?? null;
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

  private async ask(way: string, body: unknown, none: string): Promise<void> {
    this.turn += 1;
    const turn = this.turn;
    this.busy = true;
    this.said = "";
    this.tell();
    try {
      const answer = await post<{ proposals: Proposal[] }>(`${this.url}/${way}`, body, SWEEP_MS);
      if (turn !== this.turn) return;
      const fresh = answer.body.proposals.map((one) => ({ ...one, id: this.name() }));
      this.list = [...this.list, ...fresh];
      this.said = fresh.length > 0 ? "" : none;
      if (fresh[0]) this.current = fresh[0].id;
    } catch (error) {
      if (turn !== this.turn) return;
      this.said = `${none} ${wordsOf(error)}`;
    }
    this.busy = false;
    this.tell();
    this.onAnswer();
  }

  private name(): string {
    this.count += 1;
    return `S${this.count}`;
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
    this.store.addSuggested([asMark(one, edit)], edit);
  }

  /** Make all proposals marks, as one step. */
  acceptAll(): void {
    const marks = this.list.map((one) => asMark(one, false));
    this.dropAll();
    this.store.addSuggested(marks, false);
  }

  drop(id: string): void {
    this.remove(id);
  }

  dropAll(): void {
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
    keepProposals(this.photo, this.picture, this.list);
    this.store.tell("found");
  }
}

const asMark = (one: Suggested, edited: boolean): Omit<Mark, "id"> => ({
  kind: one.kind,
  shape: one.shape,
  u_edge_px: one.u_edge_px,
  note: noteOf(one, edited),
});
