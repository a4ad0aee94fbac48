"""Statistics on arrays: numbers in, `Estimate` out. No clinical word stands here."""
