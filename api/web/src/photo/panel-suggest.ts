// The part of the marks panel where the program proposes outlines and a person decides on each.
import { fixed } from "../units";
import { button, folding, h } from "./dom";
import type { Store } from "./store";
import { LOOKS } from "./styles";
import type { Suggestions } from "./suggestions";
import type { Suggested } from "./types";

export function suggestBox(store: Store, suggestions: Suggestions): HTMLElement {
  const { list, busy, said } = suggestions;
  const tool = store.tool.name === "suggest" ? store.tool.what : null;
  const take = (what: "pit" | "blend-out" | "region", words: string): HTMLElement =>
    button(words, () => store.setTool({ name: "suggest", what }), {
      "data-key": `suggest-${what}`,
      "aria-pressed": String(tool === what),
      disabled: busy,
    });
  return folding(
    opened || busy || list.length > 0 || Boolean(said) || tool !== null,
    (open) => (opened = open),
    { class: "suggest group" },
    h("summary", { "data-key": "suggest-box" }, list.length > 0 ? `Suggestions (${list.length})` : "Let the program suggest outlines"),
    h("p", { class: "quiet" }, "One click proposes the edge of what was clicked; a sweep proposes all pits it sees. They wait here, on every device, until somebody accepts or drops each; nothing counts before it is accepted."),
    h(
      "div",
      { class: "actions", role: "group", "aria-label": "Suggest" },
      take("pit", "Suggest a pit"),
      take("blend-out", "Suggest a blend-out"),
      take("region", "Sweep a region"),
      button("Sweep the whole picture", () => void suggestions.sweep(null), { "data-key": "sweep", disabled: busy }),
    ),
    busy
      ? h(
          "div",
          { class: "actions" },
          h("p", { role: "status" }, "Looking in the full picture… A sweep may take half a minute."),
          button("Stop waiting", () => suggestions.stop(), { "data-key": "suggest-stop" }),
        )
      : null,
    said ? h("p", { class: "notice warn", role: "alert" }, said) : null,
    list.length > 0 ? h("ul", { class: "marks" }, ...list.map((one) => row(suggestions, one))) : null,
    list.length > 1
      ? h(
          "div",
          { class: "actions" },
          button(`Accept all ${list.length}`, () => suggestions.acceptAll(), { "data-key": "accept-all" }),
          button("Drop all", () => suggestions.dropAll(), { "data-key": "drop-all" }),
        )
      : null,
  );
}

let opened = false;

function row(suggestions: Suggestions, one: Suggested): HTMLElement {
  const { id } = one;
  const current = suggestions.current === id;
  const words = LOOKS[one.kind].words;
  const act = (verb: string, key: string, does: () => void, main = false): HTMLElement =>
    button(verb, does, { "aria-label": `${verb} ${id}`, "data-key": `${key}-${id}`, class: main ? "main" : null });
  return h(
    "li",
    { class: current ? "selected" : null, "aria-current": current ? "true" : null },
    h(
      "button",
      { type: "button", class: "mark-head", "data-key": `show-${id}`, onclick: () => suggestions.pick(id) },
      h("span", { class: `swatch ${one.kind}`, "aria-hidden": "true" }),
      h("span", { class: "mark-name" }, `${id} · ${words}?`),
      h("span", { class: "mark-size", title: "0 to 1, a rank and not a probability" }, `score ${fixed(one.score, 2)}`),
    ),
    h(
      "div",
      { class: "actions decide" },
      act("Accept", "accept", () => suggestions.accept(id), current),
      act("Edit", "edit", () => suggestions.accept(id, true)),
      act("Drop", "drop", () => suggestions.drop(id)),
    ),
  );
}
