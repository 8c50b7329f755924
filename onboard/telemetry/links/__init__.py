"""Links: where bytes come from. A folder to add to: one file for each kind of link."""
