// The photos of a survey: bring them in, look through them, tag or withdraw many at once.
import { edit, ProblemError, read, remove, wordsOf } from "../client";
import { count, filtersOf, frame, fromAddress, keepInAddress, need, say, surveyId } from "../frame";
import { clearSettled, shownQueue } from "../queue_list";
import { askReason, withReason } from "../withdraw";

type Tags = Record<string, string | number>;

interface PhotoRecord {
  id: string;
  version: number;
  photo: Record<string, unknown>;
}

frame();
const survey = surveyId();
const list = need<HTMLUListElement>("#photos");
const filters = need<HTMLFormElement>("#filters");
const bulk = need<HTMLFormElement>("#bulk");
const uploads = need<HTMLElement>("#uploads");
const queueList = need<HTMLElement>("#queue");

const cards = (): HTMLLIElement[] => [...list.querySelectorAll<HTMLLIElement>(".photo-card")];
const shown = (): HTMLLIElement[] => cards().filter((card) => !card.hidden);
const boxOf = (card: Element): HTMLInputElement => need<HTMLInputElement>('input[type="checkbox"]', card);
const picked = (): HTMLLIElement[] => cards().filter((card) => boxOf(card).checked);

const queue = shownQueue(
  `/api/surveys/${survey}/photos`,
  {
    list: queueList,
    all: need<HTMLProgressElement>("#upload-all"),
    said: need<HTMLElement>("#upload-said"),
    retry: need<HTMLButtonElement>("#retry"),
  },
  (upload) => {
    const id = upload.result?.photo?.id;
    if (id) void refresh(id);
  },
);

tellOfUnsent();
setUpDrop();
setUpFilters();
setUpPicking();
setUpBulk();

function setUpDrop(): void {
  const drop = need<HTMLElement>("#drop");
  for (const id of ["#choose", "#take"]) {
    const input = need<HTMLInputElement>(id);
    input.addEventListener("change", () => {
      bringIn([...(input.files ?? [])]);
      input.value = "";
    });
  }
  addEventListener("dragover", (event) => {
    event.preventDefault();
    drop.classList.add("over");
  });
  addEventListener("dragleave", (event) => {
    if (event.relatedTarget === null) drop.classList.remove("over");
  });
  addEventListener("drop", (event) => {
    // Anywhere on the page: a photo that misses the box must not replace the page.
    event.preventDefault();
    drop.classList.remove("over");
    bringIn([...(event.dataTransfer?.files ?? [])]);
  });
  addEventListener("paste", (event) => {
    const files = [...(event.clipboardData?.files ?? [])];
    if (files.length > 0) bringIn(files);
  });
  need<HTMLButtonElement>("#clear-done").addEventListener("click", () => {
    clearSettled(queue, queueList);
    uploads.hidden = queue.uploads.length === 0;
  });
}

// A browser forgets chosen files when the page is left; only their names can be kept.
function tellOfUnsent(): void {
  const names = queue.unsentBefore();
  const notice = need<HTMLElement>("#unsent");
  if (names.length === 0) return;
  const few = names.length > 5 ? [...names.slice(0, 5), `${names.length - 5} more`] : names;
  need<HTMLElement>("p", notice).textContent =
    `${count(names.length, "photo")} had not been sent when this page was left: ${few.join(", ")}. ` +
    "Choose the same photos again, or all of them: what is already here is recognized and not stored twice.";
  notice.hidden = false;
  need<HTMLButtonElement>("button", notice).addEventListener("click", () => {
    queue.forgetUnsent();
    notice.hidden = true;
  });
}

function bringIn(files: File[]): void {
  if (files.length === 0) return;
  need<HTMLElement>("#unsent").hidden = true;
  uploads.hidden = false;
  const added = queue.add(files);
  if (added < files.length) {
    need<HTMLElement>("#upload-said").textContent += `; ${count(files.length - added, "file")} chosen twice`;
  }
}

// The server draws every card, so that a card looks the same after an upload, a tag and a reload.
async function refresh(id: string): Promise<void> {
  const answer = await fetch(`/surveys/${survey}/photos/${id}/card`);
  if (!answer.ok) return;
  const parsed = new DOMParser().parseFromString(await answer.text(), "text/html");
  const fresh = document.importNode(need<HTMLLIElement>(".photo-card", parsed), true);
  const old = cards().find((card) => card.dataset.id === id);
  if (old) {
    boxOf(fresh).checked = boxOf(old).checked;
    old.replaceWith(fresh);
  } else list.append(fresh);
  need<HTMLElement>("#count").textContent = String(cards().length);
  need<HTMLElement>("#no-photos").hidden = true;
  filter();
}

function setUpFilters(): void {
  const address = new URL(location.href);
  if (address.searchParams.get("show") === "untagged") {
    address.searchParams.set("show", "not tagged");
    history.replaceState(null, "", address);
  }
  fromAddress(filters);
  filters.addEventListener("input", filter);
  filters.addEventListener("submit", (event) => event.preventDefault());
  filter();
}

function filter(): void {
  const wanted = filtersOf(filters);
  const same = (value: string | undefined, wish: string | undefined): boolean =>
    !wish || (wish === "-" ? !value : value === wish);
  for (const card of cards()) {
    const data = card.dataset;
    const matches =
      (data.text ?? "").includes(wanted.text ?? "") &&
      same(data.member, wanted.member) && same(data.face, wanted.face) &&
      same(data.zone, wanted.zone) && same(data.view, wanted.view) &&
      (!wanted.show || (data.state ?? "").split("|").includes(wanted.show));
    card.hidden = !matches;
    // What cannot be seen must not be tagged.
    if (!matches) boxOf(card).checked = false;
  }
  keepInAddress(wanted);
  const visible = shown().length;
  need<HTMLElement>("#none-match").hidden = visible > 0 || cards().length === 0;
  need<HTMLElement>("#shown").textContent = visible < cards().length ? `${visible} of ${cards().length} shown` : "";
  showPicked();
}

function setUpPicking(): void {
  let last: HTMLLIElement | null = null;
  list.addEventListener("click", (event) => {
    const target = event.target as Element;
    const card = target.closest<HTMLLIElement>(".photo-card");
    if (!(target instanceof HTMLInputElement) || card === null) return;
    if (event.shiftKey && last !== null) {
      const visible = shown();
      const [from, to] = [visible.indexOf(last), visible.indexOf(card)].sort((a, b) => a - b) as [number, number];
      for (const one of visible.slice(Math.max(0, from), to + 1)) boxOf(one).checked = target.checked;
    }
    last = card;
    showPicked();
  });
  list.addEventListener("keydown", (event) => {
    const card = (event.target as Element).closest<HTMLLIElement>(".photo-card");
    if (card !== null) moveFrom(card, event);
  });
  const pickAll = (on: boolean): void => {
    for (const card of shown()) boxOf(card).checked = on;
    showPicked();
  };
  need<HTMLButtonElement>("#pick-all").addEventListener("click", () => pickAll(true));
  need<HTMLButtonElement>("#pick-none").addEventListener("click", () => pickAll(false));
}

function moveFrom(card: HTMLLIElement, event: KeyboardEvent): void {
  const visible = shown();
  const here = visible.indexOf(card);
  const across = visible.filter((one) => one.offsetTop === visible[0]?.offsetTop).length || 1;
  const step = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: across, ArrowUp: -across }[event.key];
  if (event.key === "Enter" && event.target instanceof HTMLInputElement) {
    need<HTMLAnchorElement>("h3 a", card).click();
    return;
  }
  const next = step === undefined ? undefined : visible[here + step];
  if (next === undefined) return;
  event.preventDefault();
  boxOf(next).focus();
  next.scrollIntoView({ block: "nearest" });
}

function showPicked(): void {
  const number = picked().length;
  bulk.hidden = number === 0;
  need<HTMLElement>("#bulk-count").textContent = count(number, "photo");
}

function setUpBulk(): void {
  const member = need<HTMLSelectElement>("#b-member");
  member.addEventListener("change", () => {
    const zone = member.selectedOptions[0]?.dataset.zone;
    if (zone) need<HTMLInputElement>("#b-zone").value = zone;
  });
  bulk.addEventListener("submit", (event) => {
    event.preventDefault();
    void tagPicked();
  });
  need<HTMLButtonElement>("#bulk-withdraw").addEventListener("click", () => void withdrawPicked());
}

async function withdrawPicked(): Promise<void> {
  const error = need<HTMLElement>(".error", bulk);
  const chosen = picked();
  const names = chosen.map((card) => need("h3", card).textContent?.trim() ?? "");
  const listed = names.length > 6 ? [...names.slice(0, 5), `${names.length - 5} more`] : names;
  const marks = chosen.reduce((sum, card) => sum + Number(card.dataset.marks ?? 0), 0);
  const along = marks > 0 ? ` With ${chosen.length === 1 ? "it goes" : "them go"} ${count(marks, "mark")} and the depths read there.` : "";
  const reason = await askReason(`Withdraw ${count(chosen.length, "photo")}?`, `${listed.join(", ")}.${along}`);
  if (reason === null) return;
  say(error, "");
  const failed: string[] = [];
  let done = 0;
  for (const card of chosen) {
    try {
      await withdraw(card, reason);
      done += 1;
    } catch (problem) {
      failed.push(`${need("h3", card).textContent?.trim()}: ${wordsOf(problem)}`);
    }
  }
  await showWithdrawn();
  need<HTMLElement>("#count").textContent = String(cards().length);
  need<HTMLElement>("#no-photos").hidden = cards().length > 0;
  filter();
  say(error, failed.join(" "));
  need<HTMLElement>("#list-said").textContent = `${done} of ${count(chosen.length, "photo")} withdrawn`;
}

async function withdraw(card: HTMLLIElement, reason: string): Promise<void> {
  const id = card.dataset.id ?? "";
  try {
    await remove(withReason(`/api/photos/${id}`, reason), `"${card.dataset.version}"`);
  } catch (problem) {
    // Somebody took it back already: what was wanted is so.
    if (problem instanceof ProblemError && problem.status === 410) return card.remove();
    if (!(problem instanceof ProblemError && problem.isStale)) throw problem;
    await refresh(id);
    throw new Error("somebody else just changed it, so it was not withdrawn; look, then withdraw it again if you still want to");
  }
  card.remove();
}

async function showWithdrawn(): Promise<void> {
  const answer = await fetch(`/surveys/${survey}/photos/withdrawn`, { headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const parsed = new DOMParser().parseFromString(await answer.text(), "text/html");
  need("#withdrawn-box").replaceChildren(...[...parsed.body.childNodes].map((node) => document.importNode(node, true)));
}

function tagsOf(form: HTMLFormElement): Tags {
  const tags: Tags = {};
  for (const [name, value] of new FormData(form)) {
    const text = String(value).trim();
    if (text) tags[name] = name === "station" && /^[+-]?\d+(\.\d+)?$/.test(text) ? Number(text) : text;
  }
  return tags;
}

async function tagPicked(): Promise<void> {
  const error = need<HTMLElement>(".error", bulk);
  const said = need<HTMLElement>("#bulk-said");
  const tags = tagsOf(bulk);
  if (Object.keys(tags).length === 0) {
    say(error, "Choose at least one tag to set.");
    return;
  }
  say(error, "");
  const chosen = picked();
  let done = 0;
  const failed: string[] = [];
  for (const card of chosen) {
    try {
      await tag(card, tags);
      done += 1;
      said.textContent = `${done} of ${count(chosen.length, "photo")} tagged`;
    } catch (problem) {
      failed.push(`${need("h3", card).textContent}: ${wordsOf(problem)}`);
      // A tag that the survey refuses is refused for every photo.
      if (problem instanceof ProblemError && problem.status === 422) break;
    }
  }
  say(error, failed.join(" "));
  if (failed.length === 0) bulk.reset();
}

async function tag(card: HTMLLIElement, tags: Tags): Promise<void> {
  const id = card.dataset.id ?? "";
  const address = `/api/photos/${id}`;
  try {
    await edit<PhotoRecord>("PATCH", address, `"${card.dataset.version}"`, tags);
  } catch (problem) {
    if (!(problem instanceof ProblemError && problem.isStale)) throw problem;
    await tagNewer(card, address, tags);
  }
  await refresh(id);
}

// Somebody edited the photo since this page was loaded. Marks and scale do not touch tags; but a tag that
// they set differently is theirs, and is left alone.
async function tagNewer(card: HTMLLIElement, address: string, tags: Tags): Promise<void> {
  const now = await read<PhotoRecord>(address);
  const theirs = Object.keys(tags).filter((name) => {
    const known = card.dataset[name];
    const current = now.body.photo[name];
    return known !== undefined && String(current ?? "") !== known && current !== tags[name];
  });
  if (theirs.length > 0) {
    await refresh(now.body.id);
    throw new Error(`somebody else just set its ${theirs.join(", ")}; look, then tag it again if you still want to`);
  }
  await edit<PhotoRecord>("PATCH", address, now.etag, tags);
}
