"""The Read page's parts: one coupon, a whole pull, corrections, a coupon's history."""
