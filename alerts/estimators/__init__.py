"""What the rules compute their figures with: plain floats, constant memory and constant time a sample.

No estimator knows a channel, a limit or a rule; each is checked against a published source in ``tests/``.
"""
