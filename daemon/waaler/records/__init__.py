"""What happened, in SQLite: runs, alerts, samples, and what must outlive a power cut."""
