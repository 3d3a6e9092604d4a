"""How numbers get in: what is typed, pasted or uploaded becomes the files of a job, and nothing else.

Everything here ends in file texts (`draft`), which go the way of every file: read by
``core.files``, worked out by ``core.review``. So a job typed in is a job written by hand.
"""
