// Asking the service to find a reference in the picture. What it finds is shown first; a person uses it or not.
import { getJson, post, wordsOf } from "../client";
import { soon } from "./dom";
import type { Store } from "./store";
import type { FoundScale, ReferenceSizes, ScaleRef } from "./types";

export class ScaleFinder {
  busy = false;
  missed = "";
  found: FoundScale | null = null;
  sizes: ReferenceSizes | null = null;
  private asked = false;
  private turn = 0;
  /** Set by the page. */
  onChange: () => void = () => undefined;
  /** Set by the page: an answer is there. */
  onAnswer: () => void = () => undefined;

  constructor(
    private readonly url: string,
    private readonly store: Store,
  ) {
    store.onChange((change) => {
      if (change === "doc" || change === "panel" || change === "tool") this.forget();
    });
  }

  /** Read the known sizes, once. */
  want(): void {
    if (this.asked) return;
    this.asked = true;
    getJson<ReferenceSizes>("/api/reference-sizes").then(
      (sizes) => {
        this.sizes = sizes;
        soon(this.onChange);
      },
      // Without the list a diameter can be entered all the same; the next look at the panel asks again.
      () => (this.asked = false),
    );
  }

  async find(scale: ScaleRef): Promise<void> {
    this.turn += 1;
    const turn = this.turn;
    this.set({ busy: true, missed: "", found: null });
    try {
      const { body } = await post<FoundScale>(this.url, sendable(scale));
      // The reference was changed meanwhile: this answer is to another question.
      if (turn === this.turn) this.set({ busy: false, missed: "", found: body });
    } catch (error) {
      if (turn === this.turn) this.set({ busy: false, missed: wordsOf(error), found: null });
    }
    if (turn === this.turn) this.onAnswer();
  }

  use(): void {
    const { found } = this;
    if (found) this.store.setScale(found.scale, "use what was found");
  }

  drop(): void {
    this.set({ busy: false, missed: "", found: null });
  }

  private forget(): void {
    if (!this.busy && !this.missed && !this.found) return;
    this.turn += 1;
    this.drop();
  }

  private set(state: Pick<ScaleFinder, "busy" | "missed" | "found">): void {
    Object.assign(this, state);
    this.store.tell("found");
  }
}

/** A check bar that is not measured yet does not hinder finding its sheet. */
function sendable(scale: ScaleRef): ScaleRef {
  const bar = scale["check_bar"] as { x?: number | null } | null | undefined;
  return bar && (bar.x ?? null) === null ? { ...scale, check_bar: null } : scale;
}
