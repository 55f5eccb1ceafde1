// A survey's rules as a form: a condition compares a share, or asks for a stated fact.
import { post } from "../client";
import { count, need } from "../frame";
import { FieldError, type Units } from "../rework/fields";
import { DocForm, type Json } from "./docform";
import { Kept, type Part } from "./parts";

interface Condition {
  quantity: string;
  op: string;
  value: number | boolean;
}

/** The rules alone; they share the planning's version. */
export function rulesPart(survey: string, units: Units): Part {
  const form = new DocForm(need<HTMLFormElement>("#rules-form"), units);
  const part = new Kept("rules", "the rules", form, `/api/surveys/${survey}/rules`, {
    unwrap: (record) => ({ rules: record["rules"], rule_set: record["rule_set"] }),
    toForm: (body) => ({ ...body, rules: (body["rules"] as Json[]).map(toRow) }),
    toBody: (values) => toBody(form, values),
    toTrial: (values) => toBody(form, values),
    toCompare: (body) => ({
      rule_set: body["rule_set"],
      ...Object.fromEntries((body["rules"] as Json[]).map((one) => [String(one["id"]), one])),
    }),
  }, () => follow(form.form));
  form.form.addEventListener("input", () => follow(form.form));
  return part;
}

/** Put the rows of a rule file below the others; returns what to say. Nothing is kept yet. */
export async function takeFile(part: Part, survey: string, file: File): Promise<string> {
  const { body } = await post<{ title: string; rules: Json[] }>(`/surveys/${survey}/rules/file`, { name: file.name, text: await file.text() });
  const list = need<HTMLElement>('[data-rows="rules"]', part.form.form);
  for (const rule of body.rules) part.form.addRow(list, toRow(rule));
  part.form.form.dispatchEvent(new Event("input", { bubbles: true }));
  return `Added below: ${count(body.rules.length, "row")} of “${body.title}”. They are tried at once and kept when you say so.`;
}

function toRow(rule: Json): Json {
  const shown = (list: unknown): Json[] => ((list ?? []) as Condition[]).map(({ quantity, op, value }) =>
    typeof value === "boolean" ? { quantity, truth: value ? "yes" : "no" } : { quantity, op, share: value });
  return { ...rule, applies_to: (rule["applies_to"] as string[]).join(", "), when: shown(rule["when"]), only_if: shown(rule["only_if"]) };
}

function toBody(form: DocForm, values: Json): Json {
  if (values["rule_set"]) return { rules: [], rule_set: values["rule_set"] };
  const stated = new Set([...form.form.ownerDocument.querySelectorAll<HTMLTemplateElement>("#condition-row")]
    .flatMap((one) => [...one.content.querySelectorAll<HTMLOptionElement>("option[data-stated]")].map((option) => option.value)));
  const conditions = (list: unknown): Condition[] => (list as Json[]).map((one) => {
    const quantity = String(one["quantity"]);
    if (stated.has(quantity)) return { quantity, op: "is", value: one["truth"] === "yes" };
    return { quantity, op: String(one["op"]), value: one["share"] as number };
  });
  const rules = (values["rules"] as Json[]).map((one, index) => {
    const row = form.form.querySelectorAll<HTMLElement>('[data-rows="rules"] > [data-row]')[index];
    if ((one["when"] as Json[]).length === 0) throw missing(row, '[data-add-row="when"]', `${String(one["label"])}: say when it holds. Add a condition.`);
    const empty = [...(row?.querySelectorAll<HTMLInputElement>('[data-name="share"]') ?? [])].find((field) => !field.closest("[hidden]") && field.value.trim() === "");
    if (empty) throw new FieldError(empty, `${String(one["label"])}: a condition has no share.`, true);
    const kinds = String(one["applies_to"] ?? "").split(",").map((kind) => kind.trim()).filter(Boolean);
    return { ...one, applies_to: kinds, when: conditions(one["when"]), only_if: conditions(one["only_if"]) };
  });
  return { rules, rule_set: null };
}

function missing(row: HTMLElement | undefined, selector: string, words: string): FieldError {
  return new FieldError(row?.querySelector<HTMLElement>(selector) ?? document.body, words, true);
}

// A stated fact is yes or no, a share is compared; an example set leaves no room for own rows.
function follow(form: HTMLFormElement): void {
  for (const select of form.querySelectorAll<HTMLSelectElement>('[data-name="quantity"]')) {
    const fact = select.selectedOptions[0]?.dataset["stated"] !== undefined;
    for (const field of select.closest("[data-row]")?.querySelectorAll<HTMLElement>("[data-kind]") ?? []) {
      field.hidden = (field.dataset["kind"] === "fact") !== fact;
    }
  }
  const set = need<HTMLSelectElement>('[data-name="rule_set"]', form).value !== "";
  need<HTMLElement>("#own-rows").hidden = set;
  need<HTMLElement>("#set-help").hidden = !set;
}
