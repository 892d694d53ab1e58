-- Version 3: what was written of an advice and of a standing approval, so that what a
-- disk has changed in it is seen though it still reads well. NULL in rows of before.
ALTER TABLE advice ADD COLUMN sum INTEGER;  -- see sums.go
ALTER TABLE covers ADD COLUMN sum INTEGER;  -- see sums.go
