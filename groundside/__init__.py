"""All that a person looks at: the dashboard, replay, review and demo."""
