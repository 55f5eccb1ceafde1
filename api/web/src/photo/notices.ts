// What the page says: whether the work is saved, and things to know once.
import { button, byId, fill, h } from "./dom";
import type { Store } from "./store";
import type { Sync } from "./sync";

const MOST = 3;

export class Notices {
  private said: string[] = [];

  constructor(
    private readonly store: Store,
    private readonly sync: Sync,
  ) {}

  /** Say something until it is closed or pushed out by newer ones. */
  say(words: string): void {
    this.said = [...this.said.filter((one) => one !== words), words].slice(-MOST);
    this.render();
  }

  render(): void {
    this.renderState();
    this.renderButtons();
    const { status } = this.sync;
    const trouble =
      status.name === "offline" || status.name === "refused"
        ? h(
            "div",
            { class: `notice ${status.name === "offline" ? "warn" : "problem"}`, role: "alert" },
            h(
              "p",
              {},
              status.name === "offline"
                ? `Not saved yet. ${status.words} It is tried again by itself.`
                : `The service did not take this. ${status.words} Your work is kept on this device; correct it or undo the last step.`,
            ),
            button("Try again now", () => this.sync.now(), { "data-key": "retry" }),
          )
        : null;
    const lines = this.said.map((words) =>
      h(
        "div",
        { class: "notice", role: "status" },
        h("p", {}, words),
        button("Close", () => this.close(words), { "aria-label": `Close: ${words}` }),
      ),
    );
    fill(byId("notices"), trouble, ...lines);
  }

  private close(words: string): void {
    this.said = this.said.filter((one) => one !== words);
    this.render();
  }

  private renderState(): void {
    const state = byId("save-state");
    const { status } = this.sync;
    const words = {
      saved: "✓ Saved",
      saving: "… Saving",
      unfinished: `✎ ${status.name === "unfinished" ? status.words : ""}`,
      offline: "⚠ Not saved: no connection",
      refused: "⚠ Not saved",
      conflict: "⚠ Waiting for your choice",
    }[status.name];
    if (state.textContent !== words) state.textContent = words;
    state.dataset["state"] = status.name;
  }

  private renderButtons(): void {
    const set = (id: string, verb: string, label: string | null): void => {
      const element = byId<HTMLButtonElement>(id);
      element.disabled = label === null;
      const words = label === null ? verb : `${verb}: ${label}`;
      element.title = words;
      element.setAttribute("aria-label", words);
    };
    set("undo", "Undo", this.store.undoLabel);
    set("redo", "Redo", this.store.redoLabel);
  }
}
