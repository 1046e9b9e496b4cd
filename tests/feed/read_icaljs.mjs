// Reads a feed with ical.js, knowing no time zone but those the feed defines, and prints what it found as JSON.
// Usage: node read_icaljs.mjs feed.ics            events
//        node read_icaljs.mjs zones.ics points    time-zone probe: lines "TZID epoch_s YYYYMMDDTHHMMSS"
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";
import path from "node:path";

const modules = process.env.VATSIDE_NODE_MODULES || path.join(process.cwd(), "node_modules");
const { default: ICAL } = await import(pathToFileURL(path.join(modules, "ical.js", "dist", "ical.js")).href);

const calendar = new ICAL.Component(ICAL.parse(readFileSync(process.argv[2], "utf8")));
for (const zone of calendar.getAllSubcomponents("vtimezone")) {
  ICAL.TimezoneService.register(zone);
}
if (calendar.name !== "vcalendar") throw new Error("no vcalendar");

const text = (component, name) => {
  const value = component.getFirstPropertyValue(name);
  return value === null ? "" : String(value);
};
const moment = (time) => (time.isDate ? time.toString() : time.toUnixTime());

if (process.argv[3]) {
  const wrong = [];
  for (const line of readFileSync(process.argv[3], "utf8").split("\n").filter(Boolean)) {
    const [tzid, epoch, wall] = line.split(" ");
    const time = ICAL.Time.fromString(wall.replace(/^(....)(..)(..)T(..)(..)(..)$/, "$1-$2-$3T$4:$5:$6"));
    time.zone = ICAL.TimezoneService.get(tzid);
    if (time.toUnixTime() !== Number(epoch)) wrong.push(`${line} read ${time.toUnixTime()}`);
  }
  console.log(JSON.stringify(wrong));
} else {
  const events = calendar.getAllSubcomponents("vevent").map((component) => {
    const event = new ICAL.Event(component);
    return {
      uid: event.uid,
      start: moment(event.startDate),
      end: moment(event.endDate),
      summary: event.summary,
      description: event.description ?? "",
      location: event.location ?? "",
      categories: component.getAllProperties("categories").flatMap((property) => property.getValues()),
      status: text(component, "status"),
      sequence: event.sequence,
      stamp: component.getFirstPropertyValue("dtstamp").toUnixTime(),
      modified: component.getFirstPropertyValue("last-modified").toUnixTime(),
      alarms: component
        .getAllSubcomponents("valarm")
        .map((alarm) => alarm.getFirstPropertyValue("trigger").toSeconds())
        .sort((a, b) => a - b),
      related: component
        .getAllProperties("related-to")
        .map((property) => [
          property.getFirstParameter("reltype"),
          ICAL.Duration.fromString(property.getFirstParameter("gap") ?? "PT0S").toSeconds(),
          property.getFirstValue(),
        ]),
    };
  });
  const todos = calendar.getAllSubcomponents("vtodo").map((component) => {
    const at = (name) => {
      const time = component.getFirstPropertyValue(name);
      return time === null ? null : moment(time);
    };
    return {
      uid: text(component, "uid"),
      start: at("dtstart"),
      due: at("due"),
      completed: at("completed"),
      status: text(component, "status"),
      summary: text(component, "summary"),
      sequence: component.getFirstPropertyValue("sequence"),
      related: component.getAllProperties("related-to").map((property) => property.getFirstValue()),
    };
  });
  console.log(JSON.stringify({ events, todos, refresh: calendar.getFirstPropertyValue("refresh-interval").toSeconds() }));
}
