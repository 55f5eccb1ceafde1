// Undo and redo over whole states. States are never changed in place, so keeping them costs little.

export interface Step<T> {
  state: T;
  /** What was done to get here, for "Undo: ..." */
  label: string;
}

export class History<T> {
  private past: Step<T>[] = [];
  private future: Step<T>[] = [];

  constructor(
    private now: Step<T>,
    private readonly most = 200,
  ) {}

  get state(): T {
    return this.now.state;
  }

  /** What an undo would take back, null if nothing. */
  get undoLabel(): string | null {
    return this.past.length > 0 ? this.now.label : null;
  }

  get redoLabel(): string | null {
    return this.future[this.future.length - 1]?.label ?? null;
  }

  /** Go on to a new state; what had been undone is gone. */
  push(state: T, label: string): void {
    this.past.push(this.now);
    if (this.past.length > this.most) this.past.shift();
    this.now = { state, label };
    this.future = [];
  }

  /** Change the present state without a step, such as when the service has filled in defaults. */
  replace(state: T): void {
    this.now = { ...this.now, state };
  }

  undo(): boolean {
    const before = this.past.pop();
    if (!before) return false;
    this.future.push(this.now);
    this.now = before;
    return true;
  }

  redo(): boolean {
    const after = this.future.pop();
    if (!after) return false;
    this.past.push(this.now);
    this.now = after;
    return true;
  }
}
