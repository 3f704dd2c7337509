"""The wire's two connections; nothing is imported here on purpose.

Whoever only observes imports `broker.observe` and never loads the class that can
publish a command.
"""
