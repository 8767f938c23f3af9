"""The screens of a meeting: join, facts, private answers, talk, decision, signatures."""
