// Plain forms; this only sets up what every page has.
import { frame } from "../frame";
import "../search/search.css";

frame();
