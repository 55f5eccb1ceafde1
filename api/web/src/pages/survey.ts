import { frame, loadLater } from "../frame";

frame();
void loadLater();
