// What is open, and the import of a survey file with its photos.
import { post, wordsOf } from "../client";
import { count, frame, make, maybe, need } from "../frame";
import { shownQueue } from "../queue_list";

interface Imported {
  survey: { id: string };
  waiting: string[];
}

interface SurveyFile {
  format?: string;
  photos?: { id: string; file: string }[];
}

frame();
const box = need<HTMLElement>("#import");
const said = need<HTMLElement>("#import-said");

maybe<HTMLButtonElement>('[data-opens="import"]')?.addEventListener("click", () => {
  box.hidden = !box.hidden;
  if (!box.hidden) need<HTMLInputElement>("#import-files").focus();
});
for (const id of ["#import-files", "#import-folder"]) {
  const input = need<HTMLInputElement>(id);
  input.addEventListener("change", () => {
    void bringIn([...(input.files ?? [])]).catch((error: unknown) => tell("problem", wordsOf(error)));
    input.value = "";
  });
}

function tell(kind: "problem" | "warn" | "", ...words: (Node | string)[]): void {
  said.replaceChildren(make("div", { class: `notice ${kind}` }, make("p", {}, ...words)));
}

// The survey goes first and alone; its photos follow one by one, so a lost connection loses nothing.
async function bringIn(files: File[]): Promise<void> {
  const found = await surveyAmong(files);
  if (found === null) {
    tell("problem", "There is no survey file among these. Choose survey.json together with its photos.");
    return;
  }
  const imported = (await post<Imported>("/api/surveys/import", found)).body;
  const address = `/surveys/${imported.survey.id}`;
  const wanted = wantedFiles(found, imported.waiting);
  const photos = files.filter((file) => wanted.has(file.name));
  const open = make("a", { href: address }, "Open the survey");
  if (photos.length === 0) {
    const missing = imported.waiting.length;
    if (missing === 0) location.assign(address);
    else tell("warn", `The survey is here; ${count(missing, "picture")} can follow on its Photos page. `, open);
    return;
  }
  tell("", `The survey is here; its ${count(photos.length, "photo")} follow. `, open);
  const status = make("p", { role: "status" });
  said.after(status);
  const list = need<HTMLElement>("#import-queue");
  const queue = shownQueue(`/api/surveys/${imported.survey.id}/photos`, { list, said: status }, () => {
    const clean = queue.uploads.every((one) => one.stage === "done" && one.result?.warnings.length === 0);
    if (queue.open > 0) return;
    if (clean) location.assign(address);
    else tell("warn", "The photos are here; see what is said of them below. ", open);
  });
  queue.add(photos);
}

async function surveyAmong(files: File[]): Promise<SurveyFile | null> {
  for (const file of files.filter((one) => one.name.toLowerCase().endsWith(".json"))) {
    let document: unknown;
    try {
      document = JSON.parse(await file.text());
    } catch {
      continue;
    }
    if ((document as SurveyFile | null)?.format === "corrosion-survey") return document as SurveyFile;
  }
  return null;
}

function wantedFiles(survey: SurveyFile, waiting: string[]): Set<string> {
  const ids = new Set(waiting);
  const named = (survey.photos ?? []).filter((photo) => ids.has(photo.id));
  return new Set(named.map((photo) => photo.file.split("/").pop() ?? photo.file));
}
