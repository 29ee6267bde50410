"""The meter reports by itself: readings of a multimeter, and ramps of a current clamp, through sigrok.

Sigrok's command line program (Debian's ``sigrok-cli``, GPL) runs as a program of its own and is never linked; it knows
the meters' protocols. `README.md` says what stands where and what was measured.
"""
