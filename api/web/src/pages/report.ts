// The report's part of the record page: have it made, show how far it is, offer the finished file.
import { getJson, post, wordsOf } from "../client";
import { need, say } from "../frame";

const POLL_MS = 700;

interface ReportStatus {
  status: "none" | "waiting" | "working" | "ready" | "failed";
  step: string;
  done: number;
  total: number;
  problem: string;
  size_bytes: number | null;
  href: string | null;
}

const STEPS: Record<string, string> = {
  survey: "Working out the survey",
  maps: "Drawing maps",
  photos: "Preparing photos",
  pages: "Setting the pages",
};

class Report {
  private readonly form = need<HTMLFormElement>("#report-form");
  private readonly work = need<HTMLElement>("#report-work");
  private readonly bar = need<HTMLProgressElement>("#report-bar");
  private readonly step = need<HTMLElement>("#report-step");
  private readonly said = need<HTMLElement>("#report-said");
  private readonly error = need<HTMLElement>(".error", this.form);
  private readonly make = need<HTMLButtonElement>("#report-make");
  private readonly fetch = need<HTMLAnchorElement>("#report-fetch");
  // Answers for another choice than the one now made come too late and are dropped.
  private turn = 0;

  constructor() {
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      void this.begin();
    });
    this.form.addEventListener("change", () => void this.look());
    void this.look();
  }

  private get url(): string {
    const asked = new URLSearchParams();
    for (const [name, value] of new FormData(this.form)) asked.set(name, String(value));
    return `/api/surveys/${this.form.dataset["survey"] ?? ""}/report?${asked.toString()}`;
  }

  private async look(): Promise<void> {
    await this.follow(() => getJson<ReportStatus>(this.url), false);
  }

  private async begin(): Promise<void> {
    say(this.error, "");
    this.make.disabled = true;
    await this.follow(async () => (await post<ReportStatus>(this.url, undefined)).body, true);
  }

  /** Show what the first answer says, and ask on until the report is ready or has failed. */
  private async follow(first: () => Promise<ReportStatus>, asked: boolean): Promise<void> {
    const turn = ++this.turn;
    const url = this.url;
    try {
      let state = await first();
      while (turn === this.turn) {
        this.show(state, asked);
        if (state.status !== "waiting" && state.status !== "working") return;
        await new Promise((resolve) => setTimeout(resolve, POLL_MS));
        state = await getJson<ReportStatus>(url);
        asked = true;
      }
    } catch (thrown) {
      if (turn !== this.turn) return;
      this.show({ status: "none", step: "", done: 0, total: 0, problem: "", size_bytes: null, href: null }, false);
      say(this.error, wordsOf(thrown));
    }
  }

  private show(state: ReportStatus, asked: boolean): void {
    const busy = state.status === "waiting" || state.status === "working";
    const ready = state.status === "ready" && state.href !== null;
    this.work.hidden = !busy;
    this.make.disabled = busy;
    this.make.hidden = ready;
    this.fetch.hidden = !ready;
    say(this.error, state.status === "failed" ? state.problem : "");
    if (busy) this.advance(state);
    if (ready) {
      this.fetch.href = state.href ?? "#";
      const size = ((state.size_bytes ?? 0) / 1e6).toFixed(1);
      this.said.textContent = `Ready: ${size} MB, for the survey as it is now.`;
      if (asked && document.activeElement === document.body) this.fetch.focus();
    } else {
      this.said.textContent = busy ? "It is being made; you may leave this page and come back." : "";
    }
  }

  private advance(state: ReportStatus): void {
    const words = state.status === "waiting" ? "Waiting for its turn" : (STEPS[state.step] ?? "Making the report");
    const counted = state.total > 1 ? `: ${state.done} of ${state.total}` : "";
    this.step.textContent = words + counted;
    if (state.total > 1) {
      this.bar.max = state.total;
      this.bar.value = state.done;
    } else {
      this.bar.removeAttribute("value");
    }
  }
}

new Report();
