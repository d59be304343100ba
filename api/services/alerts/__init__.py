"""What failed, or is used overdue, and has nobody answered? Alerts: raised, shown, answered."""
