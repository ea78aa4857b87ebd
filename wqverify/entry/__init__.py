"""A visit stepped through, one question at a time: questions from the sheet model, answers in a journal."""
