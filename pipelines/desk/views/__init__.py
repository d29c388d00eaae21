"""What the desk tells of claims, letters and months, for pages and programs alike."""
