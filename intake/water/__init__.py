"""Water chemistry of the farm: oxygen, salinity, ammonia, carbonate, mixing and dosing, each with source and range."""
