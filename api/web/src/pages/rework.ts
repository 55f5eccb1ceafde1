// Earlier rework, thickness readings and the instruments: list, add, edit, withdraw.
import { pageData, ProblemError, remove, wordsOf } from "../client";
import { cueWide, frame, maybe, need, surveyId } from "../frame";
import { Editor } from "../rework/editor";
import type { Units } from "../rework/fields";
import { FootprintForm } from "../rework/footprint";
import { Pad } from "../rework/pad";
import { InstrumentKeeper, instrumentKind, keeperOf, type Layout, type Reading, readingKind, type Removal, removalKind } from "../rework/parts";
import { chosenUnit } from "../units";
import { askReason, withReason } from "../withdraw";

type Name = "removal" | "reading" | "instrument";

frame();
const layout = pageData<Layout>("rework-data");
if (layout) start(layout);

function start(data: Layout): void {
  const survey = surveyId();
  const units: Units = { doc: data.units, shown: chosenUnit(data.units) };
  const instruments = new InstrumentKeeper(survey);
  const editors = {
    removal: removalEditor(data, survey, units),
    reading: readingEditor(data, survey, units),
    instrument: new Editor(instrumentKind(), instruments, units),
  };
  let opener: HTMLElement | null = null;
  let turn = 0;
  for (const editor of Object.values(editors)) {
    editor.onSaved = (words) => void refresh(words);
    editor.onClosed = () => {
      need<HTMLElement>("#adders").hidden = false;
      if (opener?.isConnected) opener.focus();
    };
  }
  const open = async (name: Name, id: string | null, from: HTMLElement): Promise<void> => {
    if (Object.values(editors).some((editor) => editor.isDirty) && !confirm("Throw away what was typed and not kept?")) return;
    opener = from;
    say("");
    const mine = ++turn;
    try {
      for (const [other, editor] of Object.entries(editors)) if (other !== name && !editor.form.hidden) editor.close();
      opener = from;
      // An entry that was asked for before another one comes too late.
      await editors[name].open(id, () => mine === turn);
    } catch (error) {
      await refresh(wordsOf(error));
    }
  };
  for (const button of document.querySelectorAll<HTMLButtonElement>("[data-add]")) {
    button.addEventListener("click", () => void open(button.dataset["add"] as Name, null, button));
  }
  need("#lists").addEventListener("click", (event) => {
    const button = (event.target as Element).closest<HTMLButtonElement>("button[data-do]");
    const row = button?.closest<HTMLElement>("tr[data-kind]");
    if (!button || !row) return;
    const name = row.dataset["kind"] as Name;
    if (button.dataset["do"] === "edit") void open(name, row.dataset["id"] ?? "", button);
    else if (button.dataset["do"] === "drop") void drop(instruments, row);
    else void withdraw(row);
  });
}

function removalEditor(data: Layout, survey: string, units: Units): Editor<Removal> {
  const form = need<HTMLFormElement>("#removal-form");
  const pad = new Pad(form);
  const editor: Editor<Removal> = new Editor(
    removalKind(data, units, pad, () => editor.fields, () => footprint),
    keeperOf<Removal>(survey, "removal"), units,
  );
  const footprint = new FootprintForm(form, editor.fields, pad, units, () => editor.touched());
  return editor;
}

function readingEditor(data: Layout, survey: string, units: Units): Editor<Reading> {
  const pad = new Pad(need<HTMLFormElement>("#reading-form"));
  const editor: Editor<Reading> = new Editor(
    readingKind(data, units, pad, () => editor.fields), keeperOf<Reading>(survey, "reading"), units,
  );
  pad.onClick = ([station, offset]) => {
    editor.fields.write("station", Number(station.toPrecision(7)));
    editor.fields.write("offset", Number(offset.toPrecision(7)));
    editor.touched();
  };
  pad.onBack = () => {
    for (const name of ["station", "offset"]) {
      const field = editor.fields.named(name);
      if (field) field.value = "";
    }
    editor.touched();
  };
  return editor;
}

function say(words: string): void {
  need("#page-said").textContent = words;
}

let lists = 0;

// The server draws the lists, in the unit that is shown.
async function refresh(words: string): Promise<void> {
  const turn = ++lists;
  const answer = await fetch(`/surveys/${surveyId()}/rework/lists`, { headers: { Accept: "text/html" } });
  const text = await answer.text();
  // Later lists are on their way; only the words are still news.
  if (answer.ok && turn === lists) {
    const parsed = new DOMParser().parseFromString(text, "text/html");
    const opened = maybe<HTMLDetailsElement>("#withdrawn")?.open ?? false;
    need("#lists").replaceChildren(...[...parsed.body.childNodes].map((node) => document.importNode(node, true)));
    need<HTMLDetailsElement>("#withdrawn").open = opened;
    cueWide();
  }
  say(words);
}

async function withdraw(row: HTMLElement): Promise<void> {
  const { kind, id, key, what } = row.dataset;
  const reason = await askReason(`Withdraw ${key}?`, what ?? "");
  if (reason === null) return;
  const address = `/api/${kind}s/${id}`;
  try {
    await remove(withReason(address, reason), `"${row.dataset["version"]}"`);
    await refresh(`${key} is withdrawn.`);
  } catch (error) {
    if (!(error instanceof ProblemError && error.isStale)) {
      await refresh(wordsOf(error));
      return;
    }
    await refresh(`Someone else changed ${key} just now, so it was not withdrawn. Look at it, then withdraw it again if it is still wrong.`);
  }
}

async function drop(keeper: InstrumentKeeper, row: HTMLElement): Promise<void> {
  const id = row.dataset["id"] ?? "";
  try {
    await keeper.drop(id);
    await refresh(`${id} is off the list; nothing was read with it.`);
  } catch (error) {
    await refresh(wordsOf(error));
  }
}
