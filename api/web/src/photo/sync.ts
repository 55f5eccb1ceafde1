// Keeps the service up to date with the work on this page: saves by itself, keeps a draft until the
// service has it, tries again after a lost connection, and stops for a person when two people clash.
import { edit, OfflineError, ProblemError, read, wordsOf } from "../client";
import type { Versioned } from "../client";
import { type Choice, type Conflict, decide, merge, type Merged, same } from "../merge";
import { dropDraft, keepDraft, readDraft } from "./draft";
import { lacksOf } from "./complete";
import type { Store } from "./store";
import { type Doc, docOf, type Part, PARTS, type PhotoPart, type PhotoRecord } from "./types";

export type Status =
  | { name: "saved" }
  | { name: "saving" }
  | { name: "unfinished"; words: string }
  | { name: "offline"; words: string }
  | { name: "refused"; words: string }
  | { name: "conflict" };

const PAUSE_MS = 500;
const RETRY_MS = 5000;

export class Sync {
  status: Status = { name: "saved" };
  /** Set by the page: asks a person to decide what two people changed differently. */
  ask: (conflicts: Conflict[]) => Promise<Map<string, Choice>> = () => Promise.resolve(new Map());
  /** Set by the page: takes in tags that someone else changed. */
  onPhoto: (photo: PhotoPart) => void = () => undefined;
  /** Set by the page: says something once. */
  say: (words: string) => void = () => undefined;

  private base: Doc;
  private etag: string;
  private timer: number | undefined;
  private turn: Promise<unknown> = Promise.resolve();
  private refusedDoc: Doc | null = null;

  constructor(
    private readonly photoId: string,
    private readonly store: Store,
    stored: Versioned<PhotoRecord>,
  ) {
    this.base = docOf(stored.body.photo);
    this.etag = stored.etag;
    store.onChange((change) => {
      if (change === "doc") this.later(PAUSE_MS);
    });
    window.addEventListener("online", () => this.later(0));
    // The tab may be closed or the phone locked before the pause is over.
    window.addEventListener("pagehide", () => this.keep());
  }

  get version(): string {
    return this.etag;
  }

  /** What the service has. */
  get stored(): Doc {
    return this.base;
  }

  /** Bring back what an earlier visit could not save. */
  async restore(): Promise<void> {
    const draft = readDraft(this.photoId);
    if (!draft) return;
    if (same(draft.mine, this.base)) {
      dropDraft(this.photoId);
      return;
    }
    const doc = await this.settle(merge(draft.base, draft.mine, this.base));
    const at = new Date(draft.savedAt).toLocaleString();
    this.store.commit(doc, "bring back unsaved work");
    this.say(`Unsaved work of ${at} was brought back.`);
  }

  /** A change of the photo made elsewhere on the page, such as its member: same version chain. */
  async patch(changes: Record<string, unknown>): Promise<PhotoRecord> {
    const send = async (): Promise<PhotoRecord> => {
      const answer = await edit<PhotoRecord>("PATCH", this.url(), this.etag, changes);
      this.etag = answer.etag;
      return answer.body;
    };
    return this.alone(async () => {
      try {
        return await send();
      } catch (error) {
        if (!(error instanceof ProblemError) || !error.isStale) throw error;
        await this.takeInTheirs();
        return send();
      }
    });
  }

  /** One request at a time: each needs the version that the one before it made. */
  private alone<T>(work: () => Promise<T>): Promise<T> {
    const done = this.turn.then(work, work);
    this.turn = done.catch(() => undefined);
    return done;
  }

  /** Save now. */
  now(): void {
    this.refusedDoc = null;
    this.later(0);
  }

  private url(part?: Part): string {
    return `/api/photos/${this.photoId}${part ? `/${part}` : ""}`;
  }

  private later(ms: number): void {
    this.keep();
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => void this.run(), ms);
    if (this.dirty().length > 0 && this.status.name === "saved") this.set({ name: "saving" });
  }

  private dirty(): Part[] {
    return PARTS.filter((part) => !same(this.store.doc[part], this.base[part]));
  }

  private keep(): void {
    if (this.dirty().length === 0) dropDraft(this.photoId);
    else if (!keepDraft(this.photoId, this.base, this.store.doc)) {
      this.say("This device keeps no drafts (storage is full or switched off). Do not close the page before it says Saved.");
    }
  }

  private set(status: Status): void {
    this.status = status;
    this.store.tell("sync");
  }

  private async run(): Promise<void> {
    try {
      await this.alone(() => this.saveAll());
    } catch (error) {
      this.fail(error);
    } finally {
      this.keep();
    }
  }

  private async saveAll(): Promise<void> {
    for (;;) {
      const dirty = this.dirty();
      const part = dirty.find((one) => !lacksOf(one, this.store.doc));
      if (!part) {
        const words = dirty.map((one) => lacksOf(one, this.store.doc)).join(" ");
        this.set(dirty.length > 0 ? { name: "unfinished", words } : { name: "saved" });
        return;
      }
      if (this.refusedDoc === this.store.doc) return;
      this.set({ name: "saving" });
      await this.save(part);
    }
  }

  private async save(part: Part): Promise<void> {
    const sent = this.store.doc[part];
    try {
      const answer = await edit<PhotoRecord>("PUT", this.url(part), this.etag, sent);
      const stored = docOf(answer.body.photo)[part];
      this.etag = answer.etag;
      this.base = { ...this.base, [part]: stored };
      // Unless drawing went on meanwhile, the service's wording (with its defaults) is the work now.
      if (this.store.doc[part] === sent) this.store.adopt({ [part]: stored });
      this.store.tell("measures");
    } catch (error) {
      if (!(error instanceof ProblemError) || !error.isStale) throw error;
      await this.takeInTheirs();
    }
  }

  private async takeInTheirs(): Promise<void> {
    const stored = await read<PhotoRecord>(this.url());
    const theirs = docOf(stored.body.photo);
    const merged = merge(this.base, this.store.doc, theirs);
    const doc = await this.settle(merged);
    this.base = theirs;
    this.etag = stored.etag;
    // Both versions become steps, so that the one not chosen can be brought back by undo.
    if (!same(merged.doc, this.store.doc)) this.store.commit(merged.doc, "take in the other person's work");
    if (!same(doc, this.store.doc)) this.store.commit(doc, "keep mine");
    if (merged.news.length > 0) {
      this.say(`Someone else worked on this photo too. Taken in: ${merged.news.join(", ")}.`);
    }
    this.onPhoto(stored.body.photo);
  }

  private async settle(merged: Merged): Promise<Doc> {
    if (merged.conflicts.length === 0) return merged.doc;
    this.set({ name: "conflict" });
    return decide(merged, await this.ask(merged.conflicts));
  }

  private fail(error: unknown): void {
    const passing = error instanceof OfflineError || (error instanceof ProblemError && error.status >= 500);
    if (passing) {
      this.set({ name: "offline", words: wordsOf(error) });
      window.clearTimeout(this.timer);
      this.timer = window.setTimeout(() => void this.run(), RETRY_MS);
    } else {
      this.refusedDoc = this.store.doc;
      this.set({ name: "refused", words: wordsOf(error) });
    }
  }
}
