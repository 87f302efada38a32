"""Whether readings are believed: signatures of faulty sensors become dated doubts, which can be undone.

The detectors are pure functions of readings; `judge.Judge` reads the book, runs them where something changed
and keeps the doubts on record. The watch calls it right before it computes the air of hours. Ingest does
not judge: an hour could then be computed, and a warning sent, before somebody had judged its readings.
"""
