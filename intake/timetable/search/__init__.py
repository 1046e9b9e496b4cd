"""How a timetable is found, improved and repaired: free time, placing, lifting, CP-SAT models."""
