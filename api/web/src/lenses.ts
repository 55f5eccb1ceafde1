// Lens profiles of a survey: they stand in its head, which is replaced as a whole.
import { edit, read } from "./client";

interface Profile {
  id: string;
  [field: string]: unknown;
}

/** A survey's head as it is read; it carries more than may be sent back. */
export type Head = { lenses: Profile[]; [field: string]: unknown };

// What a survey's head holds; the service refuses more than that.
const FIELDS = ["display_units", "survey", "settings", "instruments"];

export const readHead = (survey: string): Promise<{ body: Head; etag: string }> => read<Head>(`/api/surveys/${survey}`);

/** Add a profile to the head that was read; somebody else's edit meanwhile is refused. */
export async function addLens(survey: string, { body, etag }: { body: Head; etag: string }, made: Profile): Promise<void> {
  const head = Object.fromEntries(FIELDS.map((name) => [name, body[name]]));
  await edit("PUT", `/api/surveys/${survey}`, etag, { ...head, lenses: [...body.lenses, made] });
}
