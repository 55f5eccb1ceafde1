// Proposals that nobody has decided on yet, kept on this device: a reload must not lose them. They are for
// one picture: of another one under the same photo they would outline nothing.
import type { Suggested } from "./suggestions";

interface Kept {
  picture: string;
  list: Suggested[];
}

const key = (photo: string): string => `corrosion.proposals.${photo}`;

export function keepProposals(photo: string, picture: string, list: Suggested[]): void {
  try {
    if (list.length === 0) localStorage.removeItem(key(photo));
    else localStorage.setItem(key(photo), JSON.stringify({ picture, list } satisfies Kept));
  } catch {
    // At worst the program has to be asked again.
  }
}

export function readProposals(photo: string, picture: string): Suggested[] {
  try {
    const kept = JSON.parse(localStorage.getItem(key(photo)) ?? "null") as Kept | null;
    if (!kept || kept.picture !== picture || !Array.isArray(kept.list)) return [];
    return kept.list.filter((one) => typeof one?.id === "string" && Array.isArray(one.shape?.coordinates));
  } catch {
    return [];
  }
}
