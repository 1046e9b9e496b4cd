/* Reads a feed with libical, knowing no time zone but those the feed defines, and prints what it found as JSON.
 * Usage: lical feed.ics          events, number of errors and the library's own restriction check
 *        lical zones.ics points  time-zone probe both ways: lines "TZID epoch_s YYYYMMDDTHHMMSS unique"
 */
#include <libical/ical.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *whole_file(const char *path)
{
    FILE *file = fopen(path, "rb");
    if (!file) { perror(path); exit(2); }
    fseek(file, 0, SEEK_END);
    long size = ftell(file);
    rewind(file);
    char *text = malloc((size_t)size + 1);
    if (fread(text, 1, (size_t)size, file) != (size_t)size) exit(2);
    text[size] = 0;
    fclose(file);
    return text;
}

static void put(const char *text)
{
    putchar('"');
    for (const unsigned char *c = (const unsigned char *)(text ? text : ""); *c; c++) {
        if (*c == '"' || *c == '\\') printf("\\%c", *c);
        else if (*c < 0x20) printf("\\u%04x", *c);
        else putchar(*c);
    }
    putchar('"');
}

static void put_moment(struct icaltimetype time)
{
    if (icaltime_is_date(time)) printf("\"%04d-%02d-%02d\"", time.year, time.month, time.day);
    else printf("%lld", (long long)icaltime_as_timet_with_zone(time, time.zone));
}

static void put_event(icalcomponent *event)
{
    printf("{\"uid\":"); put(icalcomponent_get_uid(event));
    printf(",\"start\":"); put_moment(icalcomponent_get_dtstart(event));
    printf(",\"end\":"); put_moment(icalcomponent_get_dtend(event));
    printf(",\"summary\":"); put(icalcomponent_get_summary(event));
    printf(",\"description\":"); put(icalcomponent_get_description(event));
    printf(",\"location\":"); put(icalcomponent_get_location(event));
    printf(",\"sequence\":%d", icalcomponent_get_sequence(event));
    printf(",\"stamp\":"); put_moment(icalcomponent_get_dtstamp(event));
    printf(",\"status\":\"%s\"", icalenum_status_to_string(icalcomponent_get_status(event)));
    printf(",\"alarms\":[");
    const char *comma = "";
    for (icalcomponent *alarm = icalcomponent_get_first_component(event, ICAL_VALARM_COMPONENT); alarm;
         alarm = icalcomponent_get_next_component(event, ICAL_VALARM_COMPONENT), comma = ",") {
        icalproperty *trigger = icalcomponent_get_first_property(alarm, ICAL_TRIGGER_PROPERTY);
        printf("%s%d", comma, icaldurationtype_as_int(icalproperty_get_trigger(trigger).duration));
    }
    printf("],\"related\":[");
    comma = "";
    for (icalproperty *each = icalcomponent_get_first_property(event, ICAL_RELATEDTO_PROPERTY); each;
         each = icalcomponent_get_next_property(event, ICAL_RELATEDTO_PROPERTY), comma = ",") {
        printf("%s", comma); put(icalproperty_get_relatedto(each));
    }
    printf("]}");
}

static int probe(icalcomponent *calendar, const char *points)
{
    char tzid[128], wall[32];
    long long epoch;
    int unique, used, wrong = 0, asked = 0;
    for (const char *at = points; sscanf(at, "%127s %lld %31s %d\n%n", tzid, &epoch, wall, &unique, &used) == 4; at += used) {
        icaltimezone *zone = icalcomponent_get_timezone(calendar, tzid);
        if (!zone) { printf("no zone %s\n", tzid); return 1; }
        struct icaltimetype utc = icaltime_from_timet_with_zone((time_t)epoch, 0, icaltimezone_get_utc_timezone());
        const char *shown = icaltime_as_ical_string(icaltime_convert_to_zone(utc, zone));
        asked++;
        if (strcmp(shown, wall)) { wrong++; printf("%s %lld shown %s, not %s\n", tzid, epoch, shown, wall); }
        struct icaltimetype local = icaltime_from_string(wall);
        long long read = (long long)icaltime_as_timet_with_zone(icaltime_set_timezone(&local, zone), zone);
        if (unique && read != epoch) { wrong++; printf("%s %s read %lld, not %lld\n", tzid, wall, read, epoch); }
    }
    printf("asked %d wrong %d\n", asked, wrong);
    return wrong != 0;
}

int main(int count, char **words)
{
    if (count < 2) return 2;
    icalcomponent *calendar = icalparser_parse_string(whole_file(words[1]));
    if (!calendar) { printf("unreadable\n"); return 1; }
    if (count > 2) return probe(calendar, whole_file(words[2]));
    printf("{\"events\":[");
    const char *comma = "";
    for (icalcomponent *event = icalcomponent_get_first_component(calendar, ICAL_VEVENT_COMPONENT); event;
         event = icalcomponent_get_next_component(calendar, ICAL_VEVENT_COMPONENT), comma = ",") {
        printf("%s", comma);
        put_event(event);
    }
    printf("],\"errors\":%d,", icalcomponent_count_errors(calendar));
    printf("\"restriction_check\":%s}\n", icalrestriction_check(calendar) ? "true" : "false");
    return 0;
}
