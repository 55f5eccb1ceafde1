// The upload queue as a list on a page.
import { count, make } from "./frame";
import { type Upload, UploadQueue } from "./queue";

interface Parts {
  list: HTMLElement;
  all?: HTMLProgressElement | null;
  said: HTMLElement;
  retry?: HTMLButtonElement | null;
}

/** A queue whose uploads are shown in `parts`; `settled` hears of each that is done. */
export function shownQueue(address: string, parts: Parts, settled: (upload: Upload) => void): UploadQueue {
  const items = new Map<number, HTMLLIElement>();
  const queue = new UploadQueue(address, (upload) => {
    const item = items.get(upload.key) ?? newItem(upload);
    items.set(upload.key, item);
    if (!item.isConnected) parts.list.append(item);
    fill(item, upload);
    total(parts, queue);
    if (upload.stage === "done") settled(upload);
  });
  parts.retry?.addEventListener("click", () => queue.retry());
  return queue;
}

/** Take settled uploads off the list. */
export function clearSettled(queue: UploadQueue, list: HTMLElement): void {
  for (const gone of queue.clear()) list.querySelector(`[data-key="${gone.key}"]`)?.remove();
}

function newItem(upload: Upload): HTMLLIElement {
  return make(
    "li",
    { "data-key": String(upload.key) },
    make("span", { class: "name", title: upload.file.name }, upload.file.name),
    make("span", { class: "quiet small" }, megabytes(upload.file.size)),
    make("progress", { max: "1", "aria-label": `Progress of ${upload.file.name}` }),
    make("span", { class: "said small" }),
  );
}

function fill(item: HTMLLIElement, upload: Upload): void {
  const bar = item.querySelector("progress");
  const said = item.querySelector(".said");
  if (bar === null || said === null) return;
  bar.value = upload.stage === "done" ? 1 : upload.sent;
  bar.hidden = upload.stage === "done" || upload.stage === "refused";
  const mark = { done: "✓ ", refused: "✗ ", lost: "… ", waiting: "", sending: "", checking: "" }[upload.stage];
  const warnings = (upload.result?.warnings ?? []).map((one) => `! ${one}`);
  said.textContent = [mark + upload.words, ...warnings].join(" ");
  said.className = upload.stage === "refused" ? "said error" : "said small";
}

function total(parts: Parts, queue: UploadQueue): void {
  const uploads = queue.uploads;
  const done = uploads.filter((one) => one.stage === "done").length;
  const refused = uploads.filter((one) => one.stage === "refused").length;
  const double = uploads.filter((one) => one.result?.status === "duplicate").length;
  if (parts.all) {
    parts.all.max = Math.max(1, uploads.length);
    parts.all.value = uploads.reduce((sum, one) => sum + (one.stage === "refused" ? 1 : one.sent), 0);
  }
  if (parts.retry) parts.retry.hidden = !queue.lost;
  parts.said.textContent = [
    `${done} of ${count(uploads.length, "photo")} here`,
    double > 0 ? `${double} already here` : "",
    refused > 0 ? `${refused} refused` : "",
    queue.lost ? "no connection: the rest waits and goes on by itself" : "",
  ].filter(Boolean).join("; ");
}

function megabytes(bytes: number): string {
  return bytes < 5e4 ? "under 0.1 MB" : `${(bytes / 1e6).toFixed(1)} MB`;
}
