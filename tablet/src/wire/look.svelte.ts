export type Light = "day" | "night" | "auto";

export type LabelPaper = "a4" | "letter" | "62x29";
const labelPaper = (kept: string | null): LabelPaper => (kept === "letter" || kept === "62x29" ? kept : "a4");

/** How this tablet shows itself: light, and which hand holds it. Kept on the tablet alone. */
class Look {
  light = $state<Light>((localStorage.getItem("spiracle-light") as Light | null) ?? "auto");
  left = $state(localStorage.getItem("spiracle-left") === "yes");
  paper = $state<"a4" | "letter">(localStorage.getItem("spiracle-paper") === "letter" ? "letter" : "a4");
  /** what labels are printed on: a sheet, or a roll */
  labels = $state<LabelPaper>(labelPaper(localStorage.getItem("spiracle-labels")));
  #night = $state(false);

  start(): () => void {
    const asked = matchMedia("(prefers-color-scheme: dark)");
    const read = (): void => void (this.#night = asked.matches);
    read();
    asked.addEventListener("change", read);
    return () => asked.removeEventListener("change", read);
  }

  get theme(): "light" | "dark" {
    if (this.light === "auto") return this.#night ? "dark" : "light";
    return this.light === "night" ? "dark" : "light";
  }

  setLight(light: Light): void {
    this.light = light;
    localStorage.setItem("spiracle-light", light);
  }

  setLeft(left: boolean): void {
    this.left = left;
    localStorage.setItem("spiracle-left", left ? "yes" : "no");
  }

  setLabels(paper: LabelPaper): void {
    this.labels = paper;
    localStorage.setItem("spiracle-labels", paper);
  }

  setPaper(paper: "a4" | "letter"): void {
    this.paper = paper;
    localStorage.setItem("spiracle-paper", paper);
  }
}

export const look = new Look();
