// The search page works without this. Here: keys for going through results, short addresses, and word
// when what was still being indexed is done.
import { getJson } from "../client";
import { frame, maybe, need } from "../frame";
import "../search/search.css";

interface IndexState {
  indexing: number;
}

const POLL_MS = 1500;
const MOST_POLLS = 200;

frame();
const form = need<HTMLFormElement>("#search-form");
const box = need<HTMLInputElement>("#q-text", form);
form.addEventListener("submit", () => leaveOutEmpty());
document.addEventListener("keydown", onKey);
void tellWhenIndexed();

// Empty fields only make the address long. A disabled field is not sent; back again for who returns.
function leaveOutEmpty(): void {
  const empty = [...form.querySelectorAll<HTMLInputElement | HTMLSelectElement>("input, select")].filter(
    (field) => field.value === "" && field !== box,
  );
  for (const field of empty) field.disabled = true;
  setTimeout(() => {
    for (const field of empty) field.disabled = false;
  });
}

function isTyping(target: EventTarget | null): boolean {
  return target instanceof HTMLElement && target.matches("input, select, textarea, [contenteditable]");
}

// "/" goes to the box, the arrows from it into the results and through them.
function onKey(event: KeyboardEvent): void {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const inBox = event.target === box;
  if (event.key === "/" && !isTyping(event.target)) {
    event.preventDefault();
    box.focus();
    box.select();
  } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && (inBox || !isTyping(event.target))) {
    const links = [...document.querySelectorAll<HTMLAnchorElement>(".hit > .hit-link")];
    const here = links.indexOf(document.activeElement as HTMLAnchorElement);
    if (!inBox && here < 0) return;
    const next = event.key === "ArrowDown" ? links[here + 1] : here > 0 ? links[here - 1] : box;
    if (!next) return;
    event.preventDefault();
    next.focus();
  }
}

async function tellWhenIndexed(): Promise<void> {
  const notice = maybe<HTMLElement>("#indexing");
  for (let polls = 0; notice && polls < MOST_POLLS; polls += 1) {
    await new Promise((done) => setTimeout(done, POLL_MS));
    try {
      const { indexing } = await getJson<IndexState>("/api/search/state");
      if (indexing > 0) continue;
    } catch {
      return;
    }
    need("strong", notice).textContent = "Everything is indexed now.";
    need("a", notice).textContent = "Search again to see it";
    return;
  }
}
