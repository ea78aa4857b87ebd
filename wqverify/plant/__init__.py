"""The plant folder: what one plant keeps, as files a person can read."""
