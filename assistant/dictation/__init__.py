"""Voice notes in words, after a session and offline; `README.md` says how, and what the words are worth."""
