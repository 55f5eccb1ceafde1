// The upload queue: a few files at a time, progress for each, and a lost connection only makes it wait.
// Sending a file twice does no harm, because the service knows a picture by its hash; so every failure
// that is not the file's own fault is tried again.

/** What became of one file (api/schemas.py, FileResult). */
export interface FileResult {
  name: string;
  status: "stored" | "matched" | "duplicate" | "refused";
  warnings: string[];
  photo: { id: string } | null;
  problem: { detail?: string } | null;
}

export type Stage = "waiting" | "sending" | "checking" | "done" | "refused" | "lost";

/** One file on its way. */
export interface Upload {
  readonly key: number;
  readonly file: File;
  stage: Stage;
  /** Share of the bytes sent, 0 to 1. */
  sent: number;
  result: FileResult | null;
  words: string;
}

const AT_ONCE = 2;
const FIRST_WAIT_MS = 1_000;
const LONGEST_WAIT_MS = 30_000;
// Nothing moved for this long: the connection is gone, whatever the browser thinks.
const STALLED_MS = 45_000;
const TRY_AGAIN = new Set([0, 408, 429, 500, 502, 503, 504]);

/** Sends files one by one to an address; `changed` hears of every step. */
export class UploadQueue {
  readonly uploads: Upload[] = [];
  private running = 0;
  private next = 0;
  private wait = FIRST_WAIT_MS;
  private timer: ReturnType<typeof setTimeout> | undefined;
  private readonly seen = new Set<string>();
  /** Names of files of an earlier visit that have not come in since. */
  private readonly earlier: Set<string>;

  constructor(
    private readonly address: string,
    private readonly changed: (upload: Upload) => void,
  ) {
    this.earlier = new Set(this.unsentBefore());
    addEventListener("online", () => this.retry());
    addEventListener("beforeunload", (event) => {
      if (this.open > 0) event.preventDefault();
    });
    // Whoever leaves all the same, or whose browser was ended, is told at the next visit what is missing.
    addEventListener("pagehide", () => this.noteUnsent());
  }

  /** Names of the files that an earlier visit of this page did not send. */
  unsentBefore(): string[] {
    try {
      const names: unknown = JSON.parse(localStorage.getItem(this.noteKey) ?? "[]");
      return Array.isArray(names) ? names.map(String) : [];
    } catch {
      return [];
    }
  }

  /** Take the note of an earlier visit away. */
  forgetUnsent(): void {
    this.earlier.clear();
    localStorage.removeItem(this.noteKey);
  }

  private get noteKey(): string {
    return `corrosion.unsent.${this.address}`;
  }

  // Written at every step too: a phone ends a page without a word.
  private noteUnsent(): void {
    // Nothing happened here: what an earlier visit or another window noted stands.
    if (this.uploads.length === 0) return;
    for (const one of this.uploads) if (settled(one)) this.earlier.delete(one.file.name);
    const open = this.uploads.filter((one) => !settled(one)).map((one) => one.file.name);
    const names = [...new Set([...this.earlier, ...open])];
    try {
      if (names.length > 0) localStorage.setItem(this.noteKey, JSON.stringify(names));
      else localStorage.removeItem(this.noteKey);
    } catch {
      // No room or no storage: the uploads themselves matter more.
    }
  }

  /** Uploads that are not settled yet. */
  get open(): number {
    return this.uploads.filter((one) => !settled(one)).length;
  }

  /** Whether some upload waits for the connection to come back. */
  get lost(): boolean {
    return this.uploads.some((one) => one.stage === "lost");
  }

  /** Add files; one that was just added (same name, size and time) is left out. Returns how many. */
  add(files: Iterable<File>): number {
    let added = 0;
    for (const file of files) {
      const print = `${file.name}|${file.size}|${file.lastModified}`;
      if (this.seen.has(print)) continue;
      this.seen.add(print);
      const upload: Upload = {
        key: this.next, file, stage: "waiting", sent: 0, result: null, words: "waiting",
      };
      this.next += 1;
      added += 1;
      this.uploads.push(upload);
      this.changed(upload);
    }
    this.noteUnsent();
    this.pump();
    return added;
  }

  /** Try everything again that waits for the connection. */
  retry(): void {
    clearTimeout(this.timer);
    for (const one of this.uploads) {
      if (one.stage === "lost") this.step(one, "waiting", "waiting");
    }
    this.pump();
  }

  /** Forget what is settled. */
  clear(): Upload[] {
    const gone = this.uploads.filter(settled);
    this.uploads.splice(0, this.uploads.length, ...this.uploads.filter((one) => !settled(one)));
    return gone;
  }

  private pump(): void {
    while (this.running < AT_ONCE) {
      const one = this.uploads.find((upload) => upload.stage === "waiting");
      if (one === undefined) return;
      this.running += 1;
      void this.send(one).finally(() => {
        this.running -= 1;
        this.pump();
      });
    }
  }

  private async send(one: Upload): Promise<void> {
    one.sent = 0;
    this.step(one, "sending", "sending");
    const { status, body } = await post(this.address, one.file, (share) => {
      one.sent = share;
      this.step(one, share < 1 ? "sending" : "checking", share < 1 ? "sending" : "being checked");
    });
    const result = (body as { files?: FileResult[] } | null)?.files?.[0] ?? null;
    if (status === 200 && result !== null) {
      this.wait = FIRST_WAIT_MS;
      one.result = result;
      this.step(one, result.status === "refused" ? "refused" : "done", wordsOf(result));
    } else if (TRY_AGAIN.has(status)) {
      this.lose(one);
    } else {
      const problem = (body ?? {}) as { detail?: string };
      this.step(one, "refused", problem.detail ?? `refused (${status})`);
    }
  }

  private lose(one: Upload): void {
    this.step(one, "lost", `no connection; tried again in ${Math.round(this.wait / 1000)} s`);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.retry(), this.wait);
    this.wait = Math.min(LONGEST_WAIT_MS, this.wait * 2);
  }

  private step(one: Upload, stage: Stage, words: string): void {
    const moved = one.stage !== stage;
    one.stage = stage;
    one.words = words;
    if (moved) this.noteUnsent();
    this.changed(one);
  }
}

function settled(one: Upload): boolean {
  return one.stage === "done" || one.stage === "refused";
}

function wordsOf(result: FileResult): string {
  const words = {
    stored: "here",
    matched: "here, it belongs to a photo of the survey file",
    duplicate: "already in this survey, nothing to do",
    refused: result.problem?.detail,
  }[result.status];
  return words || result.status;
}

interface Answer {
  /** 0: no answer. */
  status: number;
  body: unknown;
}

// XMLHttpRequest, because fetch does not tell how much of a body was sent.
function post(address: string, file: File, progress: (share: number) => void): Promise<Answer> {
  return new Promise((done) => {
    const form = new FormData();
    form.append("files", file, file.name);
    const request = new XMLHttpRequest();
    let stalled: ReturnType<typeof setTimeout> | undefined;
    const alive = (): void => {
      clearTimeout(stalled);
      stalled = setTimeout(() => request.abort(), STALLED_MS);
    };
    request.open("POST", address);
    request.setRequestHeader("Accept", "application/json");
    request.responseType = "json";
    request.upload.addEventListener("progress", (event) => {
      alive();
      if (event.lengthComputable) progress(event.loaded / event.total);
    });
    request.addEventListener("loadend", () => {
      clearTimeout(stalled);
      done({ status: request.status, body: request.response });
    });
    alive();
    request.send(form);
  });
}
