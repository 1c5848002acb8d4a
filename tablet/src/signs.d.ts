declare module "virtual:signs.css";
