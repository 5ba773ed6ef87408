"""The form that makes the tables of a survey: pages for the area, its grid, its files and its control points, and a sketch."""
