"""The daemon: link, ride, record, feed and door wired together, with the only clock."""
