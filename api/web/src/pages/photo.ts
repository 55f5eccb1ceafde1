// The photo page: reads what it needs, then puts the parts together. Each part lives in ../photo.
import "../photo/photo.css";
import { getJson, pageData, read, wordsOf } from "../client";
import { byId, h } from "../photo/dom";
import { docOf, type PhotoRecord, type StructureRecord, type SurveyRecord } from "../photo/types";
import { Store } from "../photo/store";
import { Sync } from "../photo/sync";
import { Workbench } from "../photo/workbench";

async function start(): Promise<void> {
  const work = byId("work");
  const id = work.dataset["photo"] ?? "";
  const stored = await read<PhotoRecord>(`/api/photos/${id}`);
  const record = stored.body;
  const survey = await getJson<SurveyRecord>(`/api/surveys/${record.survey_id}`);
  const structure =
    pageData<StructureRecord>("frozen-structure") ?? (await getJson<StructureRecord>(`/api/structures/${survey.structure_id}`));
  if (!record.picture) {
    throw new Error("the picture of this photo has not been uploaded yet. Add it on the Photos page.");
  }
  const store = new Store(docOf(record.photo));
  const sync = new Sync(record.id, store, stored);
  const bench = new Workbench(record, record.picture, survey, structure, store, sync);
  if (store.sealed) lockFields(byId("panel"));
  await bench.open();
}

/** What cannot be kept can be read, but not typed over: a value that springs back explains nothing. */
function lockFields(panel: HTMLElement): void {
  const lock = (): void => {
    for (const field of panel.querySelectorAll<HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement>("input, select, textarea")) {
      if (field instanceof HTMLSelectElement || field.type === "checkbox" || field.type === "radio") field.disabled = true;
      else field.readOnly = true;
    }
  };
  new MutationObserver(lock).observe(panel, { childList: true, subtree: true });
  lock();
}

start().catch((error: unknown) => {
  const words = wordsOf(error);
  byId("save-state").textContent = "Not loaded";
  byId("notices").replaceChildren(
    h("div", { class: "notice problem", role: "alert" }, h("p", {}, `The photo could not be opened. ${words}`)),
  );
});
