import { describe, expect, it } from "vitest";
import { lacking } from "../../tiles/asks";
import { oxygenAsks, oxygenFields } from "./oxygen";

const LIST = [{ name: "size E on Machine A", contents_l: "680", full: "137 bar" }];
const fields = (values: Record<string, string>): string[] => oxygenAsks(values, LIST).map((ask) => ask.field);

describe("oxygen as read", () => {
  it("asks a cylinder for its printed pair and its gauge, a concentrator for its flow and per cent", () => {
    expect(fields({})).toEqual(["source"]);
    expect(fields({ source: "cylinder" })).toEqual([
      "source",
      "cylinder",
      "contents_l",
      "full_pressure",
      "gauge",
      "drive_l_min",
    ]);
    expect(fields({ source: "concentrator" })).toEqual(["source", "max_l_min", "percent", "drive_l_min"]);
    expect(fields({ source: "pipeline" })).toEqual(["source", "drive_l_min"]);
  });
  it("fills nothing in for a listed cylinder: its pair is one answer beside another", () => {
    const chosen = { source: "cylinder", cylinder: "size E on Machine A" };
    const asks = oxygenAsks(chosen, LIST);
    expect(lacking(asks, chosen)).toContain("Printed on it: read it again");
    expect(oxygenFields({ ...chosen, gauge: "85 bar" }, LIST)).not.toHaveProperty("contents_l");
    expect(oxygenFields({ ...chosen, printed: "as listed", gauge: "85 bar" }, LIST)).toEqual({
      ...chosen,
      contents_l: "680",
      full_pressure: "137 bar",
      gauge: "85 bar",
    });
  });
  it("takes another label as it is typed", () => {
    const other = { source: "cylinder", cylinder: "size E on Machine A", printed: "another" };
    expect(fields(other)).toContain("contents_l");
    expect(oxygenFields({ ...other, contents_l: "660", full_pressure: "1900 psi" }, LIST)).toEqual({
      source: "cylinder",
      cylinder: "size E on Machine A",
      contents_l: "660",
      full_pressure: "1900 psi",
    });
  });
  it("asks whether another source is in use or stands by, and chooses neither", () => {
    const left = { name: "cylinder A", counted: true };
    const asked = (values: Record<string, string>): string[] => oxygenAsks(values, [], left).map((ask) => ask.field);
    expect(asked({ source: "cylinder", cylinder: "A" })).not.toContain("use");
    for (const other of [{ source: "cylinder", cylinder: "B" }, { source: "cylinder" }, { source: "pipeline" }]) {
      expect(asked(other as Record<string, string>)).toContain("use");
      const asks = oxygenAsks(other as Record<string, string>, [], left);
      expect(lacking(asks, other as Record<string, string>)).toContain("cylinder A was in use. This one");
    }
    expect(oxygenAsks({ source: "pipeline" }, [], { ...left, counted: false }).map((ask) => ask.field)).not.toContain(
      "use",
    );
    expect(oxygenAsks({ source: "pipeline" }, []).map((ask) => ask.field)).not.toContain("use");
  });
  it("asks no drive gas of one that stands by, and a name where the hospital lists none", () => {
    const left = { name: "cylinder A", counted: true };
    const asks = oxygenAsks({ source: "cylinder", cylinder: "B", use: "standing by" }, [], left);
    expect(asks.map((ask) => ask.field)).not.toContain("drive_l_min");
    expect(asks.map((ask) => ask.field)).toContain("cylinder");
  });
});
