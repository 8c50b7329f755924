"""The check ashore, before the first ride of a day: facts are gathered, judged, and shown."""
