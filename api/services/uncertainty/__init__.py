"""How sure a result is: budgets, evaluated runs, capabilities, forces of masses."""
