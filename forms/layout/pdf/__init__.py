"""The PDF file itself: its tags, form fields, dates and bytes."""
