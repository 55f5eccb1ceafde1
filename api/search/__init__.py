"""Finding structures, surveys, findings, photos and people among years of records."""
