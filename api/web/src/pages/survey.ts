import { frame } from "../frame";

frame();
