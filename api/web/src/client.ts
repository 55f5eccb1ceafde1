// The one way the pages talk to the service: ETag and If-Match, errors in plain words, one retry for
// answers that are safe to ask for twice. Nothing here knows a page.

/** One fault of a refused request: where, what, and the value sent. */
export interface Fault {
  path: string;
  message: string;
  value?: unknown;
}

/** What the service says in application/problem+json (RFC 9457). */
export interface ProblemBody {
  type?: string;
  title?: string;
  status?: number;
  detail?: string;
  remedy?: string;
  place?: string;
  errors?: Fault[];
}

/** A request that was answered, but not with success. `message` is fit to be shown. */
export class ProblemError extends Error {
  constructor(
    readonly status: number,
    readonly problem: ProblemBody,
  ) {
    super(plainWords(status, problem));
    this.name = "ProblemError";
  }

  /** Somebody else changed it first (412): read again, repeat the edit. */
  get isStale(): boolean {
    return this.status === 412;
  }
}

/** The service could not be reached; what was to be sent is still here. */
export class OfflineError extends Error {
  constructor() {
    super("The service cannot be reached. Check the connection; your work is kept on this device.");
    this.name = "OfflineError";
  }
}

/** A document as read: its body and the ETag that an edit has to name. */
export interface Versioned<T> {
  body: T;
  etag: string;
}

type Method = "GET" | "PUT" | "POST" | "PATCH" | "DELETE";

const RETRY_DELAYS_MS = [400, 1600];
// A request that hangs is worse than one that fails: the draft is safe, so say so and try again.
const TIMEOUT_MS = 30_000;

/** Write a problem for a reader: what is wrong, where, what to do. */
export function plainWords(status: number, problem: ProblemBody): string {
  // The detail of a problem ends with its remedy.
  const said = problem.detail ?? problem.title ?? problem.remedy;
  if (said) return sentence(said);
  if (status === 404) return "It is not there any more. Go back to the list and open it again.";
  if (status === 413) return "Too much was sent at once. Send less.";
  if (status >= 500) return "The service failed; nothing was changed. Try again.";
  return `The service refused this (${status}). Load the page again and repeat it.`;
}

function sentence(text: string | undefined): string {
  const trimmed = (text ?? "").trim();
  const upper = trimmed.charAt(0).toUpperCase() + trimmed.slice(1);
  return /[.!?]$/.test(upper) ? upper : `${upper}.`;
}

/** What to show for anything that was thrown. */
export function wordsOf(error: unknown): string {
  if (error instanceof ProblemError || error instanceof OfflineError) return error.message;
  return error instanceof Error ? `Something went wrong: ${error.message}` : String(error);
}

/** Read a JSON document. */
export async function getJson<T>(url: string): Promise<T> {
  return (await read<T>(url)).body;
}

/** Read a JSON document with its ETag. */
export async function read<T>(url: string): Promise<Versioned<T>> {
  return parsed<T>(await send("GET", url, {}, undefined));
}

/** Replace or change a document of the version `etag`; a ProblemError with `isStale` if it is old. */
export async function edit<T>(
  method: "PUT" | "PATCH",
  url: string,
  etag: string,
  body: unknown,
): Promise<Versioned<T>> {
  return parsed<T>(await send(method, url, { "If-Match": etag }, body));
}

/** Add or ask for something. Never retried: a lost answer may hide a success. */
export async function post<T>(url: string, body: unknown, timeoutMs = TIMEOUT_MS): Promise<Versioned<T>> {
  return parsed<T>(await send("POST", url, {}, body, timeoutMs));
}

/** Take something away, naming its version. */
export async function remove(url: string, etag: string): Promise<void> {
  await send("DELETE", url, { "If-Match": etag }, undefined);
}

async function send(
  method: Method,
  url: string,
  headers: Record<string, string>,
  body: unknown,
  timeoutMs = TIMEOUT_MS,
): Promise<Response> {
  const request: RequestInit = { method, headers: { Accept: "application/json", ...headers } };
  // `null` is a document too: it removes a scale or a placement.
  if (body !== undefined) {
    request.body = JSON.stringify(body);
    (request.headers as Record<string, string>)["Content-Type"] = "application/json";
  }
  const delays = method === "GET" ? RETRY_DELAYS_MS : [];
  for (let attempt = 0; ; attempt += 1) {
    const response = await once(url, request, timeoutMs);
    const delay = delays[attempt];
    const passing = response === null || response.status === 503;
    if (passing && delay !== undefined) {
      await new Promise((done) => setTimeout(done, delay));
      continue;
    }
    if (response === null) throw new OfflineError();
    if (!response.ok) throw new ProblemError(response.status, await problemOf(response));
    return response;
  }
}

async function once(url: string, request: RequestInit, timeoutMs: number): Promise<Response | null> {
  try {
    return await fetch(url, { ...request, signal: AbortSignal.timeout(timeoutMs) });
  } catch {
    return null;
  }
}

async function problemOf(response: Response): Promise<ProblemBody> {
  try {
    return (await response.json()) as ProblemBody;
  } catch {
    return {};
  }
}

async function parsed<T>(response: Response): Promise<Versioned<T>> {
  const etag = response.headers.get("ETag") ?? "";
  const text = await response.text();
  return { body: (text ? JSON.parse(text) : null) as T, etag };
}

/** Read the data that the server put into the page as `<script type="application/json" id=...>`. */
export function pageData<T>(id: string): T | null {
  const text = document.getElementById(id)?.textContent;
  return text ? (JSON.parse(text) as T) : null;
}
