// On a narrow screen the survey's navigation is wider than the screen: bring the current page into sight.

/** Scroll the navigation sideways to the current page. */
export function showWhere(): void {
  const here = document.querySelector<HTMLElement>(".survey-nav [aria-current]");
  const list = here?.closest("ul");
  if (here && list) list.scrollLeft = here.offsetLeft - (list.clientWidth - here.offsetWidth) / 2;
}
