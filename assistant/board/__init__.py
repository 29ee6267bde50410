"""The board: the session as a page on the local network, for any browser, and keys that a finger presses there.

questions.py  numbers the questions, so that a late tap answers none that came after it; tapped keys (pure)
view.py       the present board as what the page needs (pure)
access.py     tokens, cookies, and what a request must show before it may do anything (pure)
pressing.py   which one of the tablets presses
hub.py        stands between the session's loop and the server: takes what is shown, hands over what is tapped
pictures.py   the drawing of the connection, as in the write-up
app.py        the server's answers (served.py: what they need to know); live.py the line to one tablet
after.py      write-ups, reviews and past sessions, once the session has ended; papers.py their pages
serving.py    the address, the socket, and the server on a thread of its own
page/         the page itself
trial.py      a silent session with a board, for tests; measuring.py and watching.py: `bench board`
"""
