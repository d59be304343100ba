"""Does a result conform: requests, rules, specifications, answers and their pictures."""
