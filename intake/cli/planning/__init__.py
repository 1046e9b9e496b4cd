"""Commands before and around a shipment: lists, plan, day, timetable, calendars."""
